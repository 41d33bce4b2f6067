"""What a device understands, as a table: header pattern and handler.

Finds the handler for a program message unit and checks how many parameters it was sent. It must not read parameter
values and knows no device.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from autobench.protocols.parameters import integer
from autobench.protocols.scpi import Pattern, ScpiError, Unit
from autobench.protocols.status import StatusRegister


@dataclass(frozen=True)
class Later:
    """A response that is known `seconds` after the device is free to work on it; `finish` then gives it."""

    seconds: float
    finish: Callable[[], str]


Answer = str | Later | None
# Called with the device, the numeric suffixes of the header, then the parameters as sent. A table belongs to one class
# of devices, which is not known here.
Handler = Callable[..., Answer]


class Command:
    """One line of the table; a pattern that ends with `?` is a query.

    The handler's signature says how many parameters there may be: those with a default value may be left out.
    """

    def __init__(self, pattern: str, handler: Handler) -> None:
        self.pattern = Pattern(pattern)
        self.handler = handler
        taken = list(inspect.signature(handler).parameters.values())[1 + pattern.count("#") :]
        self.most = len(taken)
        self.least = sum(parameter.default is inspect.Parameter.empty for parameter in taken)


class CommandTree:
    """The commands of a device class, laid over those of the class it stands on (`beneath`)."""

    def __init__(self, *commands: Command, beneath: CommandTree | None = None) -> None:
        inherited: tuple[Command, ...] = beneath.commands if beneath else ()
        self.commands: tuple[Command, ...] = (*commands, *inherited)
        self._found: dict[tuple[tuple[str, ...], bool], tuple[Command, tuple[int, ...]]] = {}

    def perform(self, device: Any, unit: Unit) -> Answer:
        """Call the handler for a unit.

        Raises -113 for an unknown header, -109 and -108 for a wrong count of parameters, and what the handler raises.
        """
        command, suffixes = self.find(unit)
        if len(unit.parameters) < command.least:
            raise ScpiError(-109, str(unit))
        if len(unit.parameters) > command.most:
            raise ScpiError(-108, str(unit))
        return command.handler(device, *suffixes, *unit.parameters)

    def find(self, unit: Unit) -> tuple[Command, tuple[int, ...]]:
        """The command that a unit names, and the numeric suffixes of its header; raises -113."""
        key = (unit.header, unit.query)
        if key not in self._found:
            self._found[key] = self._search(unit)
        return self._found[key]

    def _search(self, unit: Unit) -> tuple[Command, tuple[int, ...]]:
        for command in self.commands:
            if command.pattern.query == unit.query:
                suffixes = command.pattern.match(unit.header)
                if suffixes is not None:
                    return command, suffixes
        raise ScpiError(-113, str(unit))


def register_commands(node: str, register: Callable[[Any], StatusRegister]) -> Iterator[Command]:
    """The commands of one `STATus` register (SCPI-1999 vol. 2, 20); `register` finds it in the device."""
    yield Command(f"STATus:{node}[:EVENt]?", lambda device: str(register(device).read_event()))
    yield Command(f"STATus:{node}:CONDition?", lambda device: str(register(device).condition))
    for part, attribute in (("ENABle", "enable"), ("PTRansition", "positive"), ("NTRansition", "negative")):
        yield from mask_commands(f"STATus:{node}:{part}", register, attribute)


def mask_commands(header: str, register: Callable[[Any], StatusRegister], attribute: str) -> Iterator[Command]:
    """The pair of commands that writes and reads one mask of a register."""

    def write(device: Any, mask: str) -> Answer:
        setattr(register(device), attribute, integer(mask, minimum=0, maximum=65_535) & StatusRegister.MASK)
        return None

    yield Command(header, write)
    yield Command(f"{header}?", lambda device: str(getattr(register(device), attribute)))
