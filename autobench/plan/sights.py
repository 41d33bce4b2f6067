"""Which points are captured together, for how long and how fast. Pure arithmetic on the documents; moves nothing.

Lines that a ratio compares come into one sight. Fast lines and slow ones never share a sight: one record cannot show
both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.lines import Line
from autobench.documents.rails import MadeRail, Rail
from autobench.plan.envelope import target_of
from autobench.plan.scope_steps import ScopePoint, Sight, StartSight
from autobench.plan.spots import spot_of
from autobench.plan.target import Target

NO_SCOPE = "this bench has no scope"
LOGIC = (-0.7, 5.7)  # V; a 5 V logic line with room for over- and undershoot
COMPOSITE = (-0.3, 1.6)
# Common practice: ten samples a period, five a shortest pulse.
A_PERIOD, A_PULSE = 10.0, 5.0
CLOCK_SECONDS, CLOCK_PERIODS = 24e-6, 200.0
FAST_SECONDS = 2.4e-3
FAST_FROM = 10e3  # Hz; a line that may be slower than this is looked at with peak detection
ANY_RATE = 25e6  # Sa/s; shows a pulse of 200 ns with five samples
SLOW_SECONDS, SLOW_RATE = 0.12, 500e3
SYNC_SECONDS = 60e-3  # three fields of 50 Hz, so that two whole ones are always inside
START_SECONDS, START_BEFORE = 1.2, 0.1
# Extremes every 40 µs tell when reset is released; pulses of a line that are to be counted want them every 8 µs.
START_RATE, START_COUNT_RATE = 50e3, 250e3


class Sights:
    """Makes the sights of one board on one bench."""

    def __init__(
        self,
        bench: Bench,
        board: Board,
        scope: str | None,
        channels: Sequence[int],
        divisions: int = 10,
        options: Mapping[str, str] | None = None,
    ) -> None:
        self.bench = bench
        self.board = board
        chosen = board.resolve_options(options or {})
        self.rails: dict[str, Rail | MadeRail] = {**board.fed(chosen), **board.made(chosen)}
        self.scope = scope
        self.divisions = divisions
        slots = bench.routes.slots if bench.routes is not None else {}
        self.channels = tuple(channel for channel in channels if f"{scope} {channel}" in slots)
        self.probes = tuple(channel for channel in bench.hand_channels(scope) if channel in channels)

    def on_relays(self, point: str) -> bool:
        """Whether the scope gets to `point` through relays."""
        return bool(self.channels) and self.bench.position(self.board.board, point) is not None

    def lacking(self, points: Iterable[str]) -> str | None:
        """Why the scope cannot show `points` together, or None."""
        if not self.channels and not self.probes:
            return NO_SCOPE
        by_hand = [point for point in points if not self.on_relays(point)]
        if by_hand and not self.probes:
            return f"no scope route to {' and '.join(by_hand)} on this bench, and no hand probe"
        if len(by_hand) > len(self.probes):
            return f"{' and '.join(by_hand)} together need {len(by_hand)} hand probes of the scope"
        return None

    def reaches(self, point: str) -> bool:
        """Whether the scope gets to `point`, through relays or by hand."""
        return self.lacking([point]) is None

    def sight(
        self,
        named: Iterable[tuple[str, str, tuple[float, float]]],
        seconds: float,
        rate: float,
        *,
        peak: bool = False,
        bandwidth_limit: bool = False,
    ) -> Sight:
        """A sight of (net, point, volts) on the first channels that get there, in order; what is left out cannot be
        shown with the others."""
        named = list(named)
        by_hand = sum(not self.on_relays(point) for _, point, _ in named)
        taken = self.probes[:by_hand]  # where a tip shares its input with relays, no relay of it is closed
        # What no tip shares comes first: one that is still held from before would be read along with the relays.
        free = sorted((each for each in self.channels if each not in taken), key=lambda each: each in self.probes)
        relays, probes = iter(free), iter(self.probes)
        points = []
        for net, point, (low, high) in named:
            channel = next(relays if self.on_relays(point) else probes, None)
            if channel is None:
                continue
            relay = self.bench.channel(self.board.board, point, f"{self.scope} {channel}")
            points.append(ScopePoint(net, point, channel, relay or 0, low, high, self.beside(net, point)))
        return Sight(tuple(points), whole_screens(seconds, self.divisions), rate, peak, bandwidth_limit)

    def beside(self, net: str, point: str) -> Target | None:
        """Where the meter sees the same point, against a 0 V point it gets to as well; by relays wherever it can."""
        name = self.board.board
        grounds = [spot_of(self.board, point).ground, *(place.ground for place in self.board.places())]
        targets = [target_of(self.bench, name, net, point, ground) for ground in grounds]
        reached = [target for target in targets if target.reachable]
        return min(reached, key=lambda target: target.by_hand, default=None)

    def clocks(self) -> dict[str, Sight]:
        """Clock to its sight: all together where the channels suffice, so that ratios are exact; by hand each with the
        clock it is made of."""
        clocks = self.board.clocks
        names = [name for name in clocks if self.on_relays(clocks[name].point)]
        found: dict[str, Sight] = {}
        for group in chunks(names, len(self.channels)):
            found |= dict.fromkeys(group, self.clock_sight(group))
        for name in clocks.keys() - found.keys():
            related = self.board.ratio(name)
            pair = [name] if related is None else [name, related[0]]
            together = self.lacking(clocks[each].point for each in pair) is None
            found[name] = self.clock_sight(pair if together else [name])
        return found

    def clock_sight(self, names: Sequence[str]) -> Sight:
        """A sight of these clocks."""
        rates = [self.board.nominal(name) for name in names]
        named = [(name, self.board.clocks[name].point, LOGIC) for name in names]
        return self.sight(named, max(CLOCK_SECONDS, CLOCK_PERIODS / min(rates)), A_PERIOD * max(rates))

    def clock_sight_at(self, name: str, point: str) -> Sight:
        """A sight of a clock at another point of its net."""
        hertz = self.board.nominal(name)
        return self.sight([(name, point, LOGIC)], max(CLOCK_SECONDS, CLOCK_PERIODS / hertz), A_PERIOD * hertz)

    def lines(self) -> dict[str, Sight]:
        """Line to its sight; lines of one side and one pace together, those of ratios first, and by hand each alone."""
        compared = {name for ratio in self.board.ratios for name in (ratio.of, ratio.to)}
        kinds: dict[tuple[str, str, bool], list[str]] = {}
        for name, line in self.board.lines.items():
            if line.when is None and self.on_relays(line.point):
                kinds.setdefault((line.stage, line.side, is_fast(line)), []).append(name)
        found: dict[str, Sight] = {}
        for (_, _, fast), names in kinds.items():
            ordered = sorted(names, key=lambda name: name not in compared)
            for group in chunks(ordered, len(self.channels)):
                found |= dict.fromkeys(group, self.line_sight(group, fast))
        for name, line in self.board.lines.items():
            if line.when is None and name not in found:
                found[name] = self.line_sight([name], is_fast(line))
        return found

    def line_sight(self, names: Sequence[str], fast: bool) -> Sight:
        """A sight of lines that are all fast, or all slow or still."""
        lines = self.board.lines
        named = [(name, lines[name].point, LOGIC) for name in names]
        if not fast:
            return self.sight(named, SLOW_SECONDS, SLOW_RATE, peak=True)
        return self.sight(named, FAST_SECONDS, max(fast_rate(lines[name]) for name in names))

    def any_line(self, net: str, point: str) -> Sight:
        """A sight of a net at any of its points: as fast as its shortest pulse wants, where the board file tells it."""
        line = self.board.lines.get(net)
        rate = ANY_RATE if line is None or line.state != "moving" else max(ANY_RATE, fast_rate(line))
        return self.sight([(net, point, LOGIC)], FAST_SECONDS, rate)

    def ratio(self, of: str, to: str, lines: Mapping[str, Sight]) -> Sight:
        """The sight a ratio is counted in: the lines' own where they share it, else one of their own."""
        if lines.get(of) is not None and lines.get(of) is lines.get(to):
            return lines[of]
        return self.line_sight((of, to), fast=True)

    def reset_rail(self) -> str:
        """The rail from whose rise the reset is counted: the one the board file names, else the first."""
        reset = self.board.reset
        return reset.rail if reset is not None and reset.rail in self.rails else next(iter(self.rails))

    def start(self) -> StartSight | None:
        """What is captured from before power-on: the rail the reset counts from, its line, and lines judged at the
        start."""
        reset = self.board.reset
        rail_name = self.reset_rail()
        rail = self.rails[rail_name]
        place = list(rail.places.values())[-1]
        if reset is None or self.lacking([place.point, reset.point]) is not None:
            return None
        nominal = rail.nominal.value
        volts = (-0.1 * abs(nominal), 1.2 * abs(nominal)) if nominal > 0 else (1.2 * nominal, 0.1 * abs(nominal))
        named = [(rail_name, place.point, volts), (reset.line, reset.point, LOGIC)]
        counted = [
            (name, line.point, LOGIC)
            for name, line in self.board.lines.items()
            if line.when == "start" and self.reaches(line.point)
        ]
        # That a line moves at all shows at any rate. Nobody is asked to hold one more tip for it.
        held = reset.holds
        holds = (held, self.board.lines[held].point, LOGIC) if held is not None else None
        also = [holds] if holds is not None and holds not in counted and self.on_relays(holds[1]) else []
        rate = START_COUNT_RATE if counted else START_RATE
        sight = self.sight([*named, *counted, *also], START_SECONDS, rate, peak=True)
        return StartSight(sight, rail_name, 0.5 * nominal, START_BEFORE)


def whole_screens(seconds: float, divisions: int) -> float:
    """The shortest record of at least `seconds` that a 1-2-5 time base of so many divisions can show."""
    wanted = seconds / divisions
    decade = 10.0 ** math.floor(math.log10(wanted))
    step = next(factor for factor in (1.0, 2.0, 5.0, 10.0) if factor * decade >= wanted * (1.0 - 1e-9))
    return step * decade * divisions


def is_fast(line: Line) -> bool:
    """Whether a line's pulses must be counted in a fast capture: it may pulse more often than peak detection tells."""
    return (line.rate is not None and (line.rate.low or 0.0) >= FAST_FROM) or is_quick(line)


def is_quick(line: Line) -> bool:
    """A moving line whose shortest pulse is too short for any slow capture, and that pulses enough for a fast one.

    One that never pulses oftener than peak detection can count is looked at that way, however short its pulses: a fast
    capture would hold a handful of them, and now and then none.
    """
    short = line.state == "moving" and line.shortest is not None and line.shortest.value < 2e-6
    return short and not is_rare(line)


def is_rare(line: Line) -> bool:
    """A line whose highest rate leaves most intervals of a peak-detected capture without a pulse."""
    return line.rate is not None and line.rate.high is not None and line.rate.high <= FAST_FROM


def fast_rate(line: Line) -> float:
    """Samples a second that show the line's shortest pulse; without one, ten a period of its highest rate."""
    if line.shortest is not None and line.shortest.value > 0:
        return A_PULSE / line.shortest.value
    top = line.rate.high if line.rate is not None else None
    return A_PERIOD * (top or 1e6)


def chunks(names: Sequence[str], size: int) -> Iterable[Sequence[str]]:
    """`names` in groups of at most `size`."""
    if size < 1:
        return []
    return [names[start : start + size] for start in range(0, len(names), size)]


def sync_rate(board: Board) -> float:
    """Samples a second that show the shortest sync pulse well; enough for an equalising pulse of half a line sync."""
    sync = board.video.sync if board.video is not None else None
    low = sync.pulse.low if sync is not None else None
    return math.ceil(2 * A_PULSE / (low or 3.5e-6))
