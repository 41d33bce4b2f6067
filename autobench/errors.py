"""Every error a person can meet, sorted by who must act. No error here knows how it is shown.

The class decides the exit code (`exit_code`): a file or usage error is 2, anything that ends a run is 4. A program
error of ours is not in this module on purpose: it is never caught and re-labelled as something the user did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class AutobenchError(Exception):
    """Root of all errors that are shown to a person as one plain sentence."""

    exit_code = 4


class UsageError(AutobenchError):
    """A word on the command line is wrong; whoever typed it must act."""

    exit_code = 2


class QuantityError(UsageError):
    """A text that should be a number with a unit is not one."""


@dataclass(frozen=True, order=True)
class Mistake:
    """One mistake in one file.

    `line` and `column` count from 1; 0 means the mistake concerns the file as a whole.
    """

    file: str
    line: int
    column: int
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        return f"{place}: {self.text}"


class FileError(UsageError):
    """One or more files are wrong; carries every mistake found, in reading order."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        self.mistakes: tuple[Mistake, ...] = tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in self.mistakes))

    def __reduce__(self) -> tuple[type[FileError], tuple[tuple[Mistake, ...]]]:
        return (FileError, (self.mistakes,))


class BenchError(AutobenchError):
    """An instrument, a cable or the wiring is not as it must be; the person at the bench must act."""


class LinkError(BenchError):
    """The conversation with one instrument failed. `instrument` is its name in the bench file."""

    def __init__(self, instrument: str, text: str) -> None:
        self.instrument = instrument
        self.text = text
        super().__init__(f"{instrument}: {text}")

    def __reduce__(self) -> tuple[type[LinkError], tuple[str, str]]:
        return (type(self), (self.instrument, self.text))


class NoReplyError(LinkError):
    """No complete reply within the total deadline of the message."""


class LinkLostError(LinkError):
    """The connection is gone: closed, refused, reset or unplugged."""


class ReplyError(LinkError):
    """A reply came and does not mean what the driver file says it should."""


class InstrumentReportedError(LinkError):
    """The instrument itself reported an error for a command we sent."""


class LayerError(BenchError):
    """One layer below a conversation with an instrument fails, so that those above it cannot be tried.

    `layer` is one of `port`, `permission`, `busy`, `reply`, `dialect`, `identity`, from the ground up.
    """

    def __init__(self, port: str, layer: str, text: str) -> None:
        self.port = port
        self.layer = layer
        self.text = text
        super().__init__(f"{port}: {layer}: {text}")

    def __reduce__(self) -> tuple[type[LayerError], tuple[str, str, str]]:
        return (type(self), (self.port, self.layer, self.text))


class InterlockRefusedError(AutobenchError):
    """The interlock refused an output command; nothing was switched on."""


class GuardError(AutobenchError):
    """The guard process cannot be started or has gone; without it nothing is switched on."""


class OutputNotOffError(AutobenchError):
    """An output could not be proved off by measurement: a person must switch the supply off by hand."""


class StoppedError(AutobenchError):
    """The run was stopped from outside: the operator, a signal, or a trip that is not the board's doing."""


class TrippedError(AutobenchError):
    """An output was switched off because of what it did on this board: over-voltage, over-current, limiting.

    `bench`: the supply is to blame and not the board.
    """

    def __init__(
        self, rail: str, text: str, *, volts: float | None = None, amps: float | None = None, bench: bool = False
    ) -> None:
        self.rail = rail
        self.text = text
        self.volts = volts
        self.amps = amps
        self.bench = bench
        super().__init__(f"{rail}: {text}")

    def __reduce__(self) -> tuple[type[TrippedError], tuple[str, str]]:
        return (TrippedError, (self.rail, self.text))


class ProtocolError(AutobenchError):
    """Bytes that break the protocol they claim to speak (a malformed block, number or header)."""


class RecordError(AutobenchError):
    """The record cannot be written or read; whoever owns the disk or the database must act."""
