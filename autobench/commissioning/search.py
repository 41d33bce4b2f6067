"""The search: every port that a person named, from the lowest layer up, to what was found there.

Only those ports are opened, and nothing but questions is sent. What was found becomes a bench file elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from autobench.clock import Clock, RealClock
from autobench.commissioning.introduction import Introduction, introduce
from autobench.commissioning.port import Port, port_named, require_open_to_us
from autobench.commissioning.recognition import Way, recognise
from autobench.documents.driver import Driver
from autobench.documents.gathered import attempt
from autobench.documents.places import SUFFIX, list_drivers
from autobench.documents.serial_line import SerialLine
from autobench.errors import FileError, LayerError, Mistake, UsageError

if TYPE_CHECKING:
    from autobench.instruments.visa import VisaLibraryBase

NETWORK = "{port}: this goes over the network; nothing is asked there without --network"
NAMELESS = Introduction("it does not say who it is", None, None, False, 0.1)
IS_DRIVER = re.compile(r"^driver:", re.MULTILINE)


@dataclass(frozen=True)
class Found:
    """An instrument that was found: where, who it says it is, its driver and how that reaches it.

    `others` are drivers that fit as well; a person must say which is right.
    """

    port: Port
    heard: Introduction
    driver: Driver
    way: Way
    others: tuple[str, ...] = ()


def ports_named(texts: Sequence[str], network: bool) -> list[Port]:
    """The ports a person means; raises `UsageError` before anything is opened."""
    ports = [port_named(text) for text in texts]
    for number, port in enumerate(ports):
        if not port.local and not network:
            raise UsageError(NETWORK.format(port=port.name))
        if port.address.upper() in [each.address.upper() for each in ports[:number]]:
            raise UsageError(f"{port.name} is named twice")
    return ports


def known_drivers(beside: Path) -> list[Driver]:
    """Drivers in the folder `beside`, then the shipped ones that they do not replace; raises `FileError`."""
    mistakes: list[Mistake] = []
    own = [path for path in sorted(beside.glob(f"*{SUFFIX}")) if is_driver(path)]
    replaced = {path.stem for path in own}
    shipped = [path for name, path in list_drivers() if name not in replaced]
    drivers = [attempt(path, Driver, mistakes) for path in (*own, *shipped)]
    if mistakes:
        raise FileError(mistakes)
    return [driver for driver in drivers if driver is not None]


def is_driver(path: Path) -> bool:
    """Whether a file looks like a driver file."""
    try:
        return bool(IS_DRIVER.search(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError):
        return False


def search(
    ports: Sequence[Port],
    drivers: Sequence[Driver],
    say: Callable[[str], None],
    *,
    clock: Clock | None = None,
    library: VisaLibraryBase | None = None,
) -> tuple[list[Found], list[LayerError]]:
    """What there is at each port, in order, and for each port without an instrument the layer that failed."""
    found: list[Found] = []
    failed: list[LayerError] = []
    for port in ports:
        try:
            found.append(looked_at(port, drivers, say, clock or RealClock(), library))
            refuse_twice(found)
        except LayerError as error:
            failed.append(error)
    return found, failed


def looked_at(
    port: Port, drivers: Sequence[Driver], say: Callable[[str], None], clock: Clock, library: VisaLibraryBase | None
) -> Found:
    """One port, from the lowest layer up; raises `LayerError` for the first that fails."""
    if library is None:
        require_open_to_us(port)
    try:
        heard = introduce(port, clock, library, say)
        say(f"{port.name}: '{heard.identity}' answers")
        fitting = recognise(port, heard, drivers, clock, library)
    except LayerError as error:
        if error.layer != "reply":
            raise
        heard = NAMELESS if port.device is None else replace(NAMELESS, line=SerialLine())
        fitting = recognise_nameless(port, heard, drivers, clock, library, error)
    driver, way = fitting[0]
    return Found(port, heard, driver, way, tuple(other.driver for other, _ in fitting[1:]))


def recognise_nameless(
    port: Port,
    heard: Introduction,
    drivers: Sequence[Driver],
    clock: Clock,
    library: VisaLibraryBase | None,
    silent: LayerError,
) -> list[tuple[Driver, Way]]:
    """Dialects that know no `*IDN?` by their own questions; raises `silent`, why nothing answered, where none fits."""
    nameless = [driver for driver in drivers if driver.identity is None]
    try:
        return recognise(port, heard, nameless, clock, library)
    except LayerError:
        raise silent from None


def refuse_twice(found: list[Found]) -> None:
    """Raise `LayerError` where the last one found is one that was found before, and take it off the list."""
    last = found[-1]
    for before in found[:-1]:
        if last.heard.serial is not None and before.heard.identity == last.heard.identity:
            found.pop()
            text = f"this is the instrument that answers at {before.port.name} too ('{last.heard.identity}')"
            raise LayerError(last.port.name, "identity", text)
