"""Readings of rounds on boards that never were: written from what repairers report, apart from the prediction code.

A `Round` starts healthy, with the spread of real boards; a fault changes values; `readings` judges them against the
board file as a runner would, later stages conditional once rails, clocks or reset failed.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from autobench.documents.board import Board
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.quantity import Span

GATES = ("rails", "clocks", "reset")
STROBES = ("FETCH", "REFRESH", "MEMREQ", "RD", "WR", "IORQ")
LEVELS = {"low": 0.2, "high": 4.4, "floating": 1.45, "half-level": 0.8}
OPEN = Span(None, None, "")


@dataclass
class Seen:
    """One value of the round before it is judged."""

    step: str
    stage: str
    net: str
    point: str
    quantity: str
    unit: str
    limits: Span
    value: float | None
    state: str | None = None
    healthy: str | None = None


@dataclass
class Round:
    """One round on one board."""

    board: Board
    seed: int
    seen: dict[tuple[str, str], Seen] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.chance = random.Random(self.seed)
        for name, rail in self.board.rails.items():
            amps = middle(self.board.rail_current(name, {}))
            self.put(f"ohms {name}", "ohms", name, "J1.1", "resistance", "ohm", rail.ohms.limits, 120.0)
            limits = self.board.rail_current(name, {})
            self.put(f"current {name}", "power", name, "", "current", "A", limits, amps * self.chance.gauss(1.0, 0.015))
            for key, place in rail.places.items():
                volts = middle(place.limits)
                self.put(f"rail {name} {key}", "rails", name, place.point, "voltage", "V", place.limits, volts)
            for drop in rail.drops:
                step = f"drop {name} {drop.start} to {drop.end}"
                self.put(step, "rails", name, "", "voltage", "V", drop.limits, 0.5 * (drop.limits.high or 0.0))
            if rail.ripple is not None:
                self.put(f"ripple {name}", "rails", name, "", "ripple", "V", rail.ripple.limits, 0.025)
        for name in self.board.clocks:
            self.clock(name)
        self.video()
        for name in self.board.lines:
            self.line(name)
        for ratio in self.board.ratios:
            self.put(f"ratio {ratio.of} to {ratio.to}", "cpu", ratio.of, "", "ratio", "", ratio.limits, 1.0)

    def put(
        self, step: str, stage: str, net: str, point: str, quantity: str, unit: str, limits: Span, value: float | None,
        state: str | None = None, healthy: str | None = None,
    ) -> None:  # fmt: skip
        """One value, healthy as yet."""
        self.seen[(step, quantity)] = Seen(step, stage, net, point, quantity, unit, limits, value, state, healthy)

    def clock(self, name: str) -> None:
        """Frequency, ratio, duty and levels."""
        row, hertz = self.board.clocks[name], self.board.nominal(name)
        step = f"clock {name}"
        limits = self.board.clock_limits(name)
        self.put(step, "clocks", name, row.point, "frequency", "Hz", limits, hertz * (1 + self.chance.gauss(0, 2e-5)))
        made = self.board.ratio(name)
        if made is not None:
            exact = float(made[1])
            around = Span(exact * 0.9999, exact * 1.0001, "")
            self.put(step, "clocks", name, row.point, "ratio", "", around, exact)
        if row.duty is not None:
            self.put(step, "clocks", name, row.point, "duty", "%", row.duty, 50.0)
        if row.high is not None:
            self.put(step, "clocks", name, row.point, "high level", "V", row.high, 4.7)

    def video(self) -> None:
        """Reset, sync and picture."""
        reset, video = self.board.reset, self.board.video
        assert reset is not None
        assert video is not None
        assert video.sync is not None
        assert video.output is not None
        assert video.output_line_rate is not None
        self.put("reset", "reset", reset.line, reset.point, "reset width", "s", reset.width, 0.22)
        sync, field_source = video.sync.line_source, video.sync.field_source
        self.put("sync", "video", sync.net, sync.point, "line rate", "Hz", video.sync.line_rate, 15625.0)
        self.put(
            "sync", "video", field_source.net, field_source.point, "field rate", "Hz", video.sync.field_rate, 50.08
        )
        self.put("sync", "video", sync.net, sync.point, "pulse width", "s", video.sync.pulse, 4.7e-6)
        net, point, step = video.output.net, video.output.point, "video output"
        self.put(step, "video", net, point, "sync amplitude", "V", video.output.sync_amplitude, 0.3)
        self.put(step, "video", net, point, "amplitude", "V", video.output.amplitude, 1.0)
        self.put(step, "video", net, point, "line rate", "Hz", video.output_line_rate, 15625.0)

    def line(self, name: str) -> None:
        """A line as it should be."""
        row = self.board.lines[name]
        if row.when == "start":
            assert row.pulses is not None
            self.put(f"line {name}", "bus", name, row.point, "rate", "", row.pulses, 16.0, "moving", "moving")
            return
        healthy = {"FETCH": 430e3, "REFRESH": 430e3, "WR": 45e3, "RD": 600e3, "MEMREQ": 1.08e6, "INT": 50.08}
        rate = healthy.get(name, 480e3) if row.state in ("moving", "any") else 0.0
        rate = 750e3 if name == "WAIT" and rate else rate
        state = "moving" if rate else row.state
        limits = row.rate or OPEN
        self.put(f"line {name}", row.stage, name, row.point, "rate", "Hz", limits, rate, state, row.state)

    # What faults do to the readings.

    def amps(self, rail: str, least: float, most: float) -> None:
        """The current becomes a share of nominal."""
        self.seen[(f"current {rail}", "current")].value = middle(
            self.board.rail_current(rail, {})
        ) * self.chance.uniform(least, most)

    def clock_gone(self, name: str) -> None:
        """No edges: one reading of zero, the others cannot be taken."""
        for quantity in ("ratio", "duty", "high level"):
            self.seen.pop((f"clock {name}", quantity), None)
        seen = self.seen[(f"clock {name}", "frequency")]
        seen.value, seen.state = 0.0, "low"

    def still(self, name: str, state: str | None = None, volts: float | None = None) -> None:
        """A line that does not move, at its usual level or at `volts`."""
        seen = self.seen[(f"line {name}", "rate")]
        seen.value, seen.state = 0.0, state or self.chance.choice(["low", "high", "high", "floating"])
        if seen.healthy is not None and seen.unit == "Hz":
            level = LEVELS[seen.state] if volts is None else volts
            level += self.chance.gauss(0.0, 0.03)
            self.put(seen.step, seen.stage, seen.net, seen.point, "level", "V", OPEN, level)

    def runs(self, name: str, hertz: float) -> None:
        """A line that moves at a rate."""
        seen = self.seen[(f"line {name}", "rate")]
        seen.value, seen.state = hertz, "moving"

    def no_sync(self, where: str = "sync") -> None:
        """Nothing to be found in the sync, or at the output."""
        first = {"sync": "line rate", "video output": "sync amplitude"}[where]
        for key in [key for key in self.seen if key[0] == where and key[1] != first]:
            del self.seen[key]
        self.seen[(where, first)].value = 0.0

    def wild_video(self) -> None:
        """A programmable controller nobody wrote to: no lines at all, or some of its own; no fields, no interrupt."""
        if self.board.architecture.video_timing != "programmable":
            return
        self.still("INT", "high")
        self.still("CRTCCS", "high")
        if self.seed % 2:
            self.no_sync()
            self.no_sync("video output")
            return
        hertz = 2930.0
        self.seen[("sync", "line rate")].value = hertz
        self.seen[("sync", "field rate")].value = 0.0
        self.seen[("sync", "pulse width")].value = 11e-6
        self.seen[("video output", "line rate")].value = hertz

    def cpu_still(self, level: str | None = None) -> None:
        """No output of the CPU moves; nothing is selected and the data bus is left alone."""
        for name in STROBES:
            if f"line {name}" in {key[0] for key in self.seen}:
                self.still(name, level)
        self.seen.pop(("ratio REFRESH to FETCH", "ratio"), None)
        self.still("HALT", level)
        for name in ("ROMCS", "RAMCS"):
            self.still(name, "high")
        for bit in range(8):
            self.still(f"D{bit}", self.chance.choice(["floating", "half-level", "floating", "high"]))
        if ("line CRTCCS", "rate") in self.seen:
            self.still("CRTCCS", "high")

    def cpu_loops_on_ones(self, clocks: float) -> None:
        """RST 38h for ever: one fetch in `clocks`, two writes each, no port."""
        fetch = self.board.nominal("CPUCLK") / clocks
        for name, times in (("FETCH", 1), ("REFRESH", 1), ("MEMREQ", 4), ("RD", 1), ("WR", 2)):
            self.runs(name, fetch * times)
        self.still("IORQ", "high")
        self.still("HALT", "high")
        self.runs("ROMCS", fetch * 2.5)
        self.runs("RAMCS", fetch * 1.5)
        for bit in range(8):
            self.runs(f"D{bit}", fetch * self.chance.choice([0.6, 1.0, 2.0]))
        if ("line CRTCCS", "rate") in self.seen:
            self.still("CRTCCS", "high")

    def cpu_waits_in_a_halt(self) -> None:
        """HALT low for ever: one fetch in four clocks whatever waits there are, no write, nothing from the RAM."""
        fetch = self.board.nominal("CPUCLK") / 4
        for name, times in (("FETCH", 1), ("REFRESH", 1), ("MEMREQ", 2), ("RD", 1), ("ROMCS", 2)):
            self.runs(name, fetch * times)
        for name, state in (("WR", "high"), ("IORQ", "high"), ("HALT", "low"), ("RAMCS", "high")):
            if (f"line {name}", "rate") in self.seen:
                self.still(name, state)

    def readings(self) -> list[Reading]:
        """Judged, in the order of the round."""
        order = ["ohms", "power", "rails", "clocks", "reset", "video", "cpu", "bus"]
        gate: str | None = None
        taken = []
        for seen in sorted(self.seen.values(), key=lambda each: order.index(each.stage)):
            verdict = Verdict.WITHIN if healthy(seen) else Verdict.OUTSIDE
            conditional = gate is not None and seen.stage != gate
            taken.append(
                Reading(
                    step=seen.step, stage=seen.stage, net=seen.net, point=seen.point or None, quantity=seen.quantity,
                    value=seen.value, unit=seen.unit, uncertainty=uncertainty(seen),
                    low=seen.limits.low, high=seen.limits.high, limit_from="board file", verdict=verdict,
                    state=seen.state, conditional=conditional, required=seen.quantity != "level",
                )
            )  # fmt: skip
            if verdict is Verdict.OUTSIDE and seen.stage in GATES and gate is None:
                gate = seen.stage
        return taken


def uncertainty(seen: Seen) -> float:
    """A scope knows a level to a tenth of a volt, the rest is known well."""
    return 0.1 if seen.quantity == "level" else abs(seen.value or 0.0) * 1e-3 or 1e-6


def healthy(seen: Seen) -> bool:
    """Whether a value is as the board file wants it."""
    if seen.healthy in ("high", "low"):
        return seen.state == seen.healthy
    if seen.healthy == "any":
        return True
    return seen.value is not None and seen.limits.holds(seen.value)


def middle(span: Span) -> float:
    """The middle of a span with two ends."""
    return 0.5 * ((span.low or 0.0) + (span.high or 0.0))
