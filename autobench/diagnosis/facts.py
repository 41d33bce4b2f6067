"""The observations of a round as a technician asks for them: does this line move, at what rate, at which level?

It draws no conclusions; `autobench.diagnosis.findings` does.
"""

from __future__ import annotations

from collections.abc import Sequence

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.evidence import Observation, usable
from autobench.diagnosis.extra_evidence import DEEDS, extra
from autobench.diagnosis.translation import STILL_STATES
from autobench.judgement.reading import Reading
from autobench.quantity import show

MOVES = frozenset({"moving", "off-rate", "burst"})
MISSING = {
    "frequency": "no clock", "line rate": "no sync", "field rate": "no field sync", "picture sync": "no sync",
    "picture": "no picture",
}  # fmt: skip
# How the findings speak of what executes: whoever has read one of these need not read the figure again.
RETOLD = {
    "writes to fetches": ("WR : FETCH", "RW : SYNC"),
    "clocks to fetches": ("an eleventh of", "a seventh of", "a quarter of"),
    "ratio": ("WR : FETCH", "RW : SYNC"),
    "reset": ("never released",),
}
SELDOM = 0.1
IN_WORDS = ("stay", "alike", "driving", "refresh")  # said by the reading itself
ALL_OUTPUTS = "other outputs"


class Facts:
    """What the usable readings say, by net."""

    def __init__(self, board: BoardModel, observations: Sequence[Observation], readings: Sequence[Reading]) -> None:
        self.board = board
        self.found = {observation.observable: observation for observation in observations}
        self.levels = {
            reading.net: reading.value
            for reading in readings
            if reading.quantity == "level" and reading.value is not None and usable(reading) and not extra(reading)
        }

    def category(self, kind: str, name: str) -> str | None:
        """The category of an observable, `None` where it was not read."""
        observation = self.found.get(Observable(kind, name))
        return observation.category if observation is not None else None

    def moves(self, net: str) -> bool:
        """Whether a line was seen to move, at whatever rate."""
        return self.category("line", net) in MOVES

    def still(self, net: str) -> bool:
        """Whether a line was seen not to move."""
        return self.category("line", net) in STILL_STATES

    def healthy(self, kind: str, name: str) -> bool:
        """Whether an observable was read and nothing speaks against it."""
        observation = self.found.get(Observable(kind, name))
        return observation is not None and not observation.accuses

    def synced(self) -> bool:
        """Whether the sync runs at its rate, or was not read."""
        return self.category("line rate", "sync") in (None, "right")

    def no_sync(self) -> str:
        """What is wrong with the sync, in words."""
        observation = self.found.get(Observable("line rate", "sync"))
        return f"and yet {self.quote(observation)}" if observation is not None else ""

    def reading(self, kind: str, name: str) -> Reading | None:
        """The reading behind an observable."""
        observation = self.found.get(Observable(kind, name))
        return observation.readings[0] if observation is not None else None

    def quote(self, observation: Observation) -> str:
        """One observation in words, with what was measured where."""
        kind = observation.observable.kind
        reading = observation.readings[0]
        if kind in DEEDS:
            return reading.reason or f"{observation.observable.name}: {observation.category}"
        if kind == "writes to fetches":
            return self.quote_writes(observation)
        if kind == "clocks to fetches":
            fetch, clock = observation.readings[0].value or 1.0, observation.readings[1].value or 0.0
            return f"{self.board.cpu_nets.fetch} comes once in {clock / fetch:.4g} clocks"
        if kind in MISSING and observation.category == "none":
            return f"{MISSING[kind]} on {reading.net}" + (f" at {reading.point}" if reading.point else "")
        if kind in IN_WORDS and reading.reason:
            return reading.reason
        place = f"{reading.net or observation.observable.name}" + (f" at {reading.point}" if reading.point else "")
        if kind in ("line", "start"):
            return self.quote_line(place, reading, kind)
        if kind == "reset" and reading.value == 0.0:
            return f"{place} is never asserted once its rail is up"
        if kind == "held":
            return f"{place} {'moves' if reading.value else 'stands still'} while the reset is asserted"
        value = "none" if reading.value is None else show(reading.value, reading.unit)
        if kind == "ratio":
            return f"the ratio {observation.observable.name} is {value}"
        if kind == "current":
            return f"{reading.net} draws {value}, {float(observation.category):.0%} of nominal"
        if kind == "trip":
            return reading.reason or f"{reading.net} tripped"
        name = {"resistance": "resistance to ground", "voltage": "voltage"}.get(reading.quantity, reading.quantity)
        if kind == "drop":
            name = f"drop ({reading.step.partition(' ')[2]})"
        return f"{place}: {name} {value}"

    def quote_line(self, place: str, reading: Reading, kind: str) -> str:
        """A line that is flat, or runs, or pulsed while the program started."""
        if kind == "start":
            often = f"pulsed {reading.value:.0f} times" if reading.value else "never pulsed"
            return f"{place} {often} while the program started"
        if reading.state in STILL_STATES:
            level = self.levels.get(reading.net)
            return f"{place} is flat {'at ' + show(level, 'V', 2) if level is not None else reading.state}"
        if reading.value:
            return f"{place} runs at {show(reading.value, reading.unit, 3)}"
        return f"{place} is {reading.state or 'still'}"

    def quote_writes(self, observation: Observation) -> str:
        """How many writes come on a fetch."""
        write, fetch = observation.readings[0].value or 0.0, observation.readings[1].value or 1.0
        nets = self.board.cpu_nets
        if observation.category == "zero":
            return f"{nets.write} never comes while {nets.fetch} does"
        if write < SELDOM * fetch:
            return f"{nets.write} comes once in {fetch / write:.0f} times {nets.fetch}"
        return f"{nets.write} comes {write / fetch:.3g} times for each {nets.fetch}"

    def told(self, observation: Observation, said: Sequence[str]) -> bool:
        """Whether what has been said quotes an observation already, or it is part of another's words."""
        kind, reading = observation.observable.kind, observation.readings[0]
        if kind == "low level":
            return True
        if kind in RETOLD:
            still = observation.category == "zero" and any(f"{reading.net} at {reading.point}" in text for text in said)
            return still or any(words in text for words in RETOLD[kind] for text in said)
        if kind == "line" and reading.net in self.board.cpu_nets.outputs and any(ALL_OUTPUTS in text for text in said):
            return True
        place = f"{reading.net} at {reading.point}"
        return any(place in text for text in said) if kind in ("line", "start", *MISSING) else False

    def line(self, net: str) -> str:
        """A line in words."""
        observation = self.found.get(Observable("line", net)) or self.found.get(Observable("start", net))
        return self.quote(observation) if observation is not None else f"{net} was not read"
