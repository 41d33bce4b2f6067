"""What can happen in a run, as frozen dataclasses. Every view and the record see the same stream.

Events carry plain values only (numbers, words, readings), so that they can be written as JSON and folded by any view.
`at` is seconds on the run's clock.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from autobench.diagnosis.result import Diagnosis, NextCheck
from autobench.judgement.reading import Reading

if TYPE_CHECKING:
    from autobench.signals.trace import Trace

ATOMS = frozenset({str, int, float, bool, type(None)})  # what JSON takes as it is


@dataclass(frozen=True)
class Event:
    """Root of all events."""

    at: float


@dataclass(frozen=True)
class RunStarted(Event):
    """The plan stands and the run begins; nothing has been switched on."""

    run: str
    board: str
    serial: str | None
    options: dict[str, str]
    sequence: str
    bench: str
    simulated: bool
    operator: str | None
    steps: tuple[str, ...]
    instruments: dict[str, str]
    files: dict[str, str]
    started: str
    step_seconds: dict[str, float] = field(default_factory=dict)  # planned, by step; for the time left
    guard: str = ""  # what switches off if the program dies, in words
    process: str = ""  # which process of which machine writes this run
    remark: str = ""  # what everything that comes out of the run must say


@dataclass(frozen=True)
class Identified(Event):
    """An instrument said who it is."""

    instrument: str
    identity: str


@dataclass(frozen=True)
class StepStarted(Event):
    """A step begins; `words` says what is being done."""

    step: str
    stage: str
    words: str


@dataclass(frozen=True)
class ReadingTaken(Event):
    """A reading was taken and judged."""

    reading: Reading


@dataclass(frozen=True)
class TraceTaken(Event):
    """A waveform was captured at one point; `sight` says in words which points were captured together, and how.

    volts = (sample − reference) · step + offset; sample number i was taken at `start` + i · `interval` seconds. `dtype`
    is numpy's name for the samples' type (`uint8` for codes), `clipped` the samples at or beyond which the converter
    was at its end. `always` asks for the trace to be kept whatever the readings say.
    """

    sight: str
    net: str
    point: str
    interval: float
    start: float
    step: float
    reference: float
    offset: float
    clipped: tuple[float, float] | None
    peak_detect: bool
    dtype: str
    samples: bytes
    always: bool = False


@dataclass(frozen=True)
class PowerChanged(Event):
    """An output changed its state of the interlock; volts and amps are what it is set to."""

    rail: str
    state: str
    volts: float
    amps: float


@dataclass(frozen=True)
class Watched(Event):
    """One look of the watch at a live output."""

    rail: str
    volts: float
    amps: float
    limiting: bool


@dataclass(frozen=True)
class Exchanged(Event):
    """One message to an instrument and what came back; a character a byte, a long reply cut.

    `bytes_received` is how many bytes the reply had.
    """

    instrument: str
    sent: str
    received: str | None
    seconds: float
    error: str | None
    bytes_received: int | None = None


@dataclass(frozen=True)
class Notice(Event):
    """Something the person at the bench should know. `urgent` ones are alarms."""

    words: str
    urgent: bool = False


@dataclass(frozen=True)
class TouchPlace:
    """Where a tip is wanted: `tip` is `meter` (red on `point`, black on `against`) or a scope's probe (`scope 1`).

    `part`, `pin` and `where` say it to a person who looks at the board; `expected` what should be seen there.
    """

    tip: str
    point: str
    against: str
    part: str
    pin: str
    where: str
    net: str
    expected: str


@dataclass(frozen=True)
class Prompted(Event):
    """The person at the bench is wanted: one instruction at a time.

    `kind` is `touch` (hold a tip there; taken by itself once it stands), `clip` (put it there and say so), `together`
    (the meter's tips on each other), `question` (yes or no), `number` and `reason` (typed), `power` (a key before the
    board gets power), `set`, `switch`, `plug` and `load` (a supply worked by hand; `ohms` of its dummy load, if any),
    `reseat` and `swap` (a socketed `part`), `lift` and `put back` (its leg on `net`) with the power proved off,
    `cool` and `warm` (a `part` of a live board, by itself), `dry` (wait until it is, with the power proved off).
    `keys` are the keys that count now, each with what it does.
    """

    kind: str
    step: str
    words: str
    keys: tuple[tuple[str, str], ...]
    place: TouchPlace | None = None
    rail: str | None = None
    volts: float | None = None
    amps: float | None = None
    on: bool | None = None
    ohms: float | None = None
    part: str | None = None
    net: str | None = None


@dataclass(frozen=True)
class PromptProgress(Event):
    """How a prompt stands: what is seen, what share (0 to 1) of the steady time has passed, what was typed so far.

    For the eye only: it is shown and not recorded.
    """

    words: str
    steady: float = 0.0
    typed: str | None = None


@dataclass(frozen=True)
class PromptEnded(Event):
    """A prompt is over; `how` is `taken`, `again`, `back`, `skipped`, `answered`, `refused` or `off`."""

    how: str
    words: str = ""


@dataclass(frozen=True)
class StepTakenAgain(Event):
    """A step will be taken once more: what it said before no longer counts, and stays in the log."""

    step: str
    why: str


@dataclass(frozen=True)
class Diagnosed(Event):
    """Who may be to blame, by the readings of the run, and what to check next."""

    diagnosis: Diagnosis


@dataclass(frozen=True)
class CheckChosen(Event):
    """A check beyond the round begins; `number` counts from 1."""

    number: int
    check: NextCheck


@dataclass(frozen=True)
class Investigated(Event):
    """The checks beyond the round are over: how many were made in how many minutes, how it ended (`told apart`,
    `cured`, `no check left`, `out of time`, `nothing accused`, `not powered`) and that in words."""

    checks: int
    minutes: float
    how: str
    words: str


@dataclass(frozen=True)
class TrueFault:
    """A fault that was done to a simulated board or bench: where, and which `nets` it sits on or cuts. One that is
    `asleep` shows only once the board is warm or bent."""

    fault: str
    part: str
    nets: tuple[str, ...] = ()
    asleep: bool = False


@dataclass(frozen=True)
class Truth(Event):
    """Simulated benches only: what the simulator knows of the outputs at the end, and what was done to the board, kept
    beside our own log. Nothing that judges or diagnoses may see it."""

    outputs: dict[str, bool]
    most_volts: dict[str, float]
    times_on: int
    faults: tuple[TrueFault, ...] = ()


@dataclass(frozen=True)
class RunEnded(Event):
    """The run is over, everything is off (or an alarm said otherwise) and the board is judged."""

    verdict: str
    reason: str | None
    seconds: float


def trace_taken(at: float, sight: str, place: tuple[str, str], trace: Trace, always: bool = False) -> TraceTaken:
    """The event of a trace taken at `place` (net, point)."""
    return TraceTaken(
        at=at,
        sight=sight,
        net=place[0],
        point=place[1],
        interval=trace.interval,
        start=trace.start,
        step=trace.step,
        reference=trace.reference,
        offset=trace.offset,
        clipped=trace.clipped,
        peak_detect=trace.peak_detect,
        dtype=trace.samples.dtype.name,
        samples=trace.samples.tobytes(),
        always=always,
    )


def plain(value: Any) -> Any:
    """An event (or anything in one) as JSON-ready values; dataclasses become dictionaries of their fields.

    Samples stay outside: a field of bytes is left out.
    """
    kind = type(value)
    if kind in ATOMS:  # most of what there is, and told apart at once
        return value
    names = field_names(kind)  # type: ignore[arg-type]  # a type can be a key
    if names is not None:
        found = ((name, getattr(value, name)) for name in names)
        return {name: plain(item) for name, item in found if not isinstance(item, bytes)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    return value


@cache
def field_names(kind: type) -> tuple[str, ...] | None:
    """Names of the fields of a dataclass in their order; `None` for any other type."""
    return tuple(item.name for item in fields(kind)) if is_dataclass(kind) else None
