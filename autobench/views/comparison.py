"""Two runs of one board side by side: what failed and how it is now, what else moved, and a verdict on the repair.

Pure: two folded runs in, one frozen answer out. It judges no reading anew – each keeps the verdict of its run – and it
opens no record.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.run_state import RunState
from autobench.views.wording import reading_name

INSIDE = (Verdict.WITHIN, Verdict.UNUSUAL)
# From best to worst; a reading that goes to the right has become worse.
ORDER = (Verdict.WITHIN, Verdict.UNUSUAL, Verdict.MARGINAL, Verdict.OUTSIDE)
COVERAGE = 2.0  # k; two readings differ when they are further apart than their combined uncertainty with this factor
MOVING = ("moving", "burst")
RAIL_STAGES = ("power", "rails")
LOGIC_STAGES = ("video", "cpu", "bus", "memory")
RUNNING_STAGES = ("clocks", "reset", "cpu", "bus", "memory")

Key = tuple[str, str | None, str | None, str, int]


class Now(StrEnum):
    """How a point that failed is in the later run."""

    CURED = "as it should be"
    FAILING = "still failing"
    UNTOLD = "cannot be told"


class Why(StrEnum):
    """Why a reading that moved does not speak against the repair."""

    LOAD = "the board draws another current than before"
    RUNS = "the board did not run properly before"
    ROOM = "more than half of its room to the limits is left"


class RepairVerdict(StrEnum):
    """What the two runs say about what was done between them."""

    CURED = "cured"
    NOT_CURED = "not cured"
    CURED_BUT = "cured, but moved"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Pair:
    """One reading in both runs; a run that did not take it has None."""

    before: Reading | None
    after: Reading | None

    @property
    def name(self) -> str:
        """Step, quantity and point, for a sentence."""
        reading = self.before or self.after
        if reading is None:
            return "nothing"
        return f"{reading_name(reading)}{f' [{reading.point}]' if reading.point else ''}"


@dataclass(frozen=True)
class Failed:
    """A reading that was outside its limits before, and how it is now."""

    pair: Pair
    now: Now


@dataclass(frozen=True)
class Moved:
    """A reading that did not fail before and is not what it was; `why` it is no cause for concern, or None."""

    pair: Pair
    why: Why | None


@dataclass(frozen=True)
class Comparison:
    """Two runs side by side, the earlier one first.

    `failed`: everything that was outside its limits. `moved`: what was measured well before and moved by more than the
    combined uncertainty (k = 2), changed its state, or got a worse verdict. `better`: what could not be called before
    and is inside its limits now. `options` and `limits` are those that differ: (name, before, after).
    """

    before: RunState
    after: RunState
    repairs: tuple[str, ...]
    failed: tuple[Failed, ...]
    moved: tuple[Moved, ...]
    better: tuple[Pair, ...]
    options: tuple[tuple[str, str, str], ...]
    limits: tuple[Pair, ...]
    verdict: RepairVerdict
    words: str


def compare(before: RunState, after: RunState, repairs: Iterable[str] = ()) -> Comparison:
    """Set the earlier run `before` beside the later one `after`; `repairs` says what was done between them.

    Both must have started, and be of one board type, else `ValueError`.
    """
    if before.started is None or after.started is None or before.started.board != after.started.board:
        raise ValueError("only runs of one board type can be compared")
    pairs = paired(before.readings, after.readings)
    failed = tuple(Failed(pair, now_of(pair, after)) for pair in pairs if fails(pair.before))
    moved = moved_among(pairs, failed)
    better = tuple(pair for pair in pairs if is_better(pair))
    limits = tuple(pair for pair in pairs if pair.before and pair.after and span(pair.before) != span(pair.after))
    verdict, words = judge_repair(before, after, pairs, failed, moved)
    options = differing(before.started.options, after.started.options)
    return Comparison(before, after, tuple(repairs), failed, moved, better, options, limits, verdict, words)


def paired(before: Iterable[Reading], after: Iterable[Reading]) -> list[Pair]:
    """Readings of the same step, net, point and quantity together, in the order of the runs."""
    first, second = keyed(before), keyed(after)
    return [Pair(first.get(key), second.get(key)) for key in dict.fromkeys([*first, *second])]


def keyed(readings: Iterable[Reading]) -> dict[Key, Reading]:
    """Readings by what they are of; those that a run took several times are counted."""
    found: dict[Key, Reading] = {}
    for reading in readings:
        count = 0
        while (key := (reading.step, reading.net, reading.point, reading.quantity, count)) in found:
            count += 1
        found[key] = reading
    return found


def fails(reading: Reading | None) -> bool:
    """Whether a reading is outside its limits, conditional or not."""
    return reading is not None and reading.verdict is Verdict.OUTSIDE


def now_of(pair: Pair, after: RunState) -> Now:
    """How a reading that failed is now."""
    reading = pair.after
    if reading is None:
        # The level of a line is read only while the line stands still: it is not missed where the line moves again.
        optional = pair.before is not None and not pair.before.required
        same = [other for other in after.readings if pair.before is not None and other.step == pair.before.step]
        return Now.CURED if optional and same and all(other.verdict in INSIDE for other in same) else Now.UNTOLD
    if reading.verdict is Verdict.OUTSIDE:
        return Now.FAILING
    if reading.verdict not in INSIDE or reading.conditional or not inside_old_limits(pair):
        return Now.UNTOLD
    return Now.CURED


def inside_old_limits(pair: Pair) -> bool:
    """Whether the new value would have been inside the old limits: limits that were widened cure nothing."""
    if pair.before is None or pair.after is None or pair.after.value is None or span(pair.before) == span(pair.after):
        return True
    low, high = span(pair.before)
    return (low is None or pair.after.value >= low) and (high is None or pair.after.value <= high)


def span(reading: Reading) -> tuple[float | None, float | None]:
    """The limits of a reading."""
    return reading.low, reading.high


def moved_among(pairs: Sequence[Pair], failed: tuple[Failed, ...]) -> tuple[Moved, ...]:
    """What moved of everything that was measured well before."""
    candidates = [pair for pair in pairs if measured_well(pair.before) and has_moved(pair)]
    draws_other = any(is_current(pair) and differs(pair) for pair in pairs)
    ran_badly = any(item.pair.before is not None and item.pair.before.stage in RUNNING_STAGES for item in failed)
    return tuple(Moved(pair, why_harmless(pair, draws_other, ran_badly)) for pair in candidates)


def measured_well(reading: Reading | None) -> bool:
    """Whether a reading says how its point was on a board that had come that far."""
    return reading is not None and reading.verdict in (*INSIDE, Verdict.MARGINAL) and not reading.conditional


def is_current(pair: Pair) -> bool:
    """Whether a pair shows what the board draws."""
    return pair.before is not None and pair.before.quantity == "current"


def differs(pair: Pair) -> bool:
    """Whether the values are further apart than their combined uncertainty (k = 2), and than rounding."""
    before, after = pair.before, pair.after
    if before is None or after is None or before.value is None or after.value is None:
        return False
    combined = math.hypot(before.uncertainty or 0.0, after.uncertainty or 0.0)
    rounding = 1e-12 * max(abs(before.value), abs(after.value))
    return abs(after.value - before.value) > max(COVERAGE * combined, rounding)


def has_moved(pair: Pair) -> bool:
    """A worse verdict, another state, or values further apart than their combined uncertainty (k = 2).

    A line is compared by its state, for its rate is the program's. A reading that was not taken again has not moved.
    """
    before, after = pair.before, pair.after
    if before is None or after is None or after.verdict not in ORDER:
        return False
    if ORDER.index(after.verdict) != ORDER.index(before.verdict):
        return ORDER.index(after.verdict) > ORDER.index(before.verdict)
    if before.state is not None or after.state is not None:
        return state_of(before) != state_of(after)
    return differs(pair)


def state_of(reading: Reading) -> str | None:
    """The state, with bursts as what they are: moving."""
    return MOVING[0] if reading.state in MOVING else reading.state


def why_harmless(pair: Pair, draws_other: bool, ran_badly: bool) -> Why | None:
    """Why a reading that moved is no cause for concern; None where it is one: always where its verdict got worse."""
    before, after = pair.before, pair.after
    if before is None or after is None or after.verdict is not before.verdict:
        return None
    if before.stage in RAIL_STAGES and draws_other:
        return Why.LOAD
    if before.stage in LOGIC_STAGES and ran_badly:
        return Why.RUNS
    was, left = room(before), room(after)
    return Why.ROOM if state_of(before) == state_of(after) and (left > was / 2.0 or math.isinf(left)) else None


def room(reading: Reading) -> float:
    """How far a value is from its nearest limit, in its unit; infinite without limits."""
    if reading.value is None:
        return math.inf
    low = math.inf if reading.low is None else reading.value - reading.low
    high = math.inf if reading.high is None else reading.high - reading.value
    return min(low, high)


def is_better(pair: Pair) -> bool:
    """Whether something that could not be called before, or not without a doubt, is inside its limits now."""
    before, after = pair.before, pair.after
    if before is None or after is None or after.conditional or after.verdict not in INSIDE or fails(before):
        return False
    return before.conditional or before.verdict not in INSIDE or (before.verdict, after.verdict) == INSIDE[::-1]


def differing(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    """Options that are not the same: name, before, after."""
    names = dict.fromkeys([*before, *after])
    found = ((name, before.get(name, "not said"), after.get(name, "not said")) for name in names)
    return tuple(row for row in found if row[1] != row[2])


def judge_repair(
    before: RunState, after: RunState, pairs: Iterable[Pair], failed: tuple[Failed, ...], moved: tuple[Moved, ...]
) -> tuple[RepairVerdict, str]:
    """The verdict on the repair and its reason: the first that fits of cannot tell, not cured, cured."""
    told = obstacle(before, after, failed)
    if told is not None:
        return RepairVerdict.CANNOT_TELL, f"cannot tell: {told}"
    still = [item.pair.name for item in failed if item.now is Now.FAILING]
    if still:
        return RepairVerdict.NOT_CURED, f"not cured: {some(still)} still {fail_word(still)}"
    if after.ended is None or after.ended.verdict == "stopped":
        why = after.ended.reason if after.ended is not None else None
        return RepairVerdict.CANNOT_TELL, f"cannot tell: the later run was stopped{f' ({why})' if why else ''}"
    untold = [item.pair.name for item in failed if item.now is Now.UNTOLD]
    if untold:
        return RepairVerdict.CANNOT_TELL, f"cannot tell: {some(untold)} failed before and could not be judged now"
    hidden = [pair.name for pair in pairs if fails_newly(pair)]
    if hidden:
        what = f"{some(hidden)} {fail_word(hidden)}, which could not be judged before"
        return RepairVerdict.NOT_CURED, f"not cured: what failed before is as it should be, but {what}"
    changed = [item.pair.name for item in moved if item.why is None]
    if changed:
        return RepairVerdict.CURED_BUT, f"cured, but {some(changed)} moved"
    if after.ended.verdict == "undecided":
        why = after.ended.reason
        return RepairVerdict.CANNOT_TELL, f"cannot tell: what failed is as it should be, but the round is not: {why}"
    return RepairVerdict.CURED, f"cured: {what_failed(len(failed))} it should be"


def what_failed(count: int) -> str:
    """The beginning of a sentence on everything that failed."""
    return "what failed is as" if count == 1 else f"each of the {count} readings that failed is as"


def obstacle(before: RunState, after: RunState, failed: tuple[Failed, ...]) -> str | None:
    """Why two runs say nothing about a repair, or None."""
    first, second = before.started, after.started
    if first is None or second is None:
        return "one of the runs never started"
    if first.simulated != second.simulated:
        return "one of the runs is simulated and the other is not"
    if first.serial != second.serial:
        return "these are runs of two boards"
    if not failed:
        return "nothing was outside its limits in the earlier run"
    return None


def fails_newly(pair: Pair) -> bool:
    """Whether a reading accuses the board now that said nothing before."""
    return (
        fails(pair.after)
        and not (pair.after and pair.after.conditional)
        and not (fails(pair.before) or measured_well(pair.before))
    )


def some(names: list[str]) -> str:
    """The first three of some names, and how many more."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more


def fail_word(names: list[str]) -> str:
    """`fails` or `fail`."""
    return "fails" if len(names) == 1 else "fail"
