"""Page one of the report, for the owner of the board: brought, found, done, before and after. No jargon.

It words what the run and its diagnosis say and judges nothing by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from autobench.documents.board import Board
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.quantity import show
from autobench.views.report_words import (
    ADVICE,
    EXPLAINED,
    HEADLINES,
    OWNER_STAGES,
    STOPPED,
    likely_cause,
    member_in_words,
    moment_in_words,
)
from autobench.views.run_state import RunState
from autobench.views.wording import limits_words

LIKELY = 0.5  # below it no single cause is named to the owner
# The quantities whose number an owner can follow, and the steps they come from, the first found counts.
TOLD = {
    "ohms": ("resistance",),
    "power": ("current",),
    "rails": ("voltage",),
    "clocks": ("frequency",),
    "reset": ("reset width",),
}


@dataclass(frozen=True)
class Aspect:
    """One line of page one: what was looked at, how it is (`good`, `bad`, `unsure`, `unchecked`) and in words."""

    words: str
    state: str
    text: str
    value: str
    wanted: str = ""
    before_state: str | None = None
    before_text: str = ""
    before_value: str = ""


@dataclass(frozen=True)
class OwnerPage:
    """Everything on page one, in words. `verdict` is the verdict's own word, for its shape."""

    verdict: str
    headline: str
    explained: str
    brought: tuple[tuple[str, str], ...]
    found: tuple[str, ...]
    done: tuple[str, ...]
    repairs: tuple[str, ...]
    advice: tuple[str, ...]
    aspects: tuple[Aspect, ...]
    compared: bool
    comparison: str | None


def owner_page(state: RunState, board: Board | None, earlier: RunState | None, repairs: Sequence[str]) -> OwnerPage:
    """Page one of a run that has started; one that never ended counts as stopped."""
    verdict = verdict_of(state)
    return OwnerPage(
        verdict=verdict,
        headline=HEADLINES.get(verdict, HEADLINES["stopped"]),
        explained=EXPLAINED.get(verdict, EXPLAINED["stopped"]),
        brought=brought(state, board),
        found=found(state, board, verdict),
        done=done(state),
        repairs=tuple(repair for repair in repairs if repair.strip()),
        advice=ADVICE.get(verdict, ADVICE["stopped"]),
        aspects=aspects(state.readings, earlier.readings if earlier is not None else None),
        compared=earlier is not None,
        comparison=comparison(state, earlier) if earlier is not None else None,
    )


def verdict_of(state: RunState) -> str:
    """The verdict of a run; `stopped` for one that has no end."""
    return state.ended.verdict if state.ended is not None else "stopped"


def brought(state: RunState, board: Board | None) -> tuple[tuple[str, str], ...]:
    """What was brought: type, serial number, options in words, and when it was checked by whom."""
    started = state.started
    if started is None:
        return ()
    # What a board file says first is what the thing is; the rest is for technicians.
    kind = f"{started.board} – {board.words.partition(',')[0]}" if board is not None else started.board
    rows = [("Board", kind), ("Serial number", started.serial or "none given")]
    for name, choice in started.options.items():
        option = board.options.get(name) if board is not None else None
        label = option.words if option is not None else name
        meaning = option.choices.get(choice) if option is not None else None
        rows.append((label[:1].upper() + label[1:], f"{choice} – {meaning}" if meaning else choice))
    rows.append(("Checked", moment_in_words(started.started)))
    rows.append(("Checked by", started.operator or "not noted"))
    return tuple(rows)


def found(state: RunState, board: Board | None, verdict: str) -> tuple[str, ...]:
    """The likeliest cause, or the group that is not told apart; what is not certain; who stopped a run."""
    if verdict == "stopped":
        return (STOPPED,)
    if verdict == "undecided":
        unsure = [aspect.words for aspect in aspects(state.readings, None) if aspect.state == "unsure"]
        named = "; ".join(words[:1].lower() + words[1:] for words in unsure)
        return (f"Not certain: {named}. The reason is on the technician's page.",) if named else ()
    diagnosis = state.diagnosis
    if verdict != "faulty":
        return ()
    if not diagnosis.suspects:
        return ("What causes it is not known yet.",)
    first = diagnosis.suspects[0]
    if not diagnosis.told_apart and len(diagnosis.group) > 1:
        members = [member_in_words(member, board) for member in diagnosis.group]
        return (f"The cause is most likely one of these, which the check could not tell apart: {listed(members)}.",)
    if first.probability < LIKELY or not (first.part or first.net):
        return ("What causes it is not known yet; the technician's part lists what it may be.",)
    return (likely_cause(first, board),)


def listed(words: Sequence[str]) -> str:
    """`a, b or c`."""
    return " or ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


def done(state: RunState) -> tuple[str, ...]:
    """How much was measured."""
    taken = sum(1 for reading in state.readings if reading.verdict is not Verdict.SKIPPED)
    if taken == 0:
        return ("Nothing was measured.",)
    seconds = f" in {minutes(state.ended.seconds)}" if state.ended is not None else ""
    return (f"{taken} {'measurement was' if taken == 1 else 'measurements were'} taken{seconds}.",)


def minutes(seconds: float) -> str:
    """A duration as one says it."""
    if seconds < 90.0:
        whole = max(round(seconds), 1)
        return f"{whole} second{'' if whole == 1 else 's'}"
    return f"{seconds / 60.0:.0f} minutes"


def aspects(now: Sequence[Reading], before: Sequence[Reading] | None) -> tuple[Aspect, ...]:
    """At most eight lines: each stage with how it is, and how it was before."""
    lines = []
    for words in dict.fromkeys(OWNER_STAGES.values()):
        stages = [stage for stage, named in OWNER_STAGES.items() if named == words]
        mine = [reading for reading in now if reading.stage in stages]
        theirs = [reading for reading in before or () if reading.stage in stages]
        if not mine and not theirs:
            continue
        shown = told_reading(mine, theirs)
        state, text = how(mine)
        if before is None:
            lines.append(Aspect(words, state, text, value_of(mine, shown), wanted_of(mine, shown)))
        else:
            value, wanted = value_of(mine, shown), wanted_of([*mine, *theirs], shown)
            lines.append(Aspect(words, state, text, value, wanted, *how(theirs), value_of(theirs, shown)))
    return tuple(lines)


def how(readings: Sequence[Reading]) -> tuple[str, str]:
    """State and words of some readings taken together."""
    taken = [reading for reading in readings if reading.verdict is not Verdict.SKIPPED]
    if not taken:
        return "unchecked", "not checked"
    bad = sum(1 for reading in taken if accuses(reading))
    if bad:
        return "bad", "not in order" if len(taken) == 1 else f"not in order ({bad} of {len(taken)})"
    if any(reading.required and not settled(reading) for reading in readings):
        return "unsure", "not certain"
    return "good", "in order"


def accuses(reading: Reading) -> bool:
    """Whether it speaks against the board."""
    return reading.verdict is Verdict.OUTSIDE and not reading.conditional


def settled(reading: Reading) -> bool:
    """Whether it says that something is as it should be."""
    return reading.verdict in (Verdict.WITHIN, Verdict.UNUSUAL) and not reading.conditional


def told_reading(now: Iterable[Reading], before: Iterable[Reading]) -> tuple[str, str] | None:
    """Step and quantity of the one number to tell: one that accuses, now or before, else the last of the first net."""
    candidates = [
        reading
        for reading in (*now, *before)
        if reading.value is not None and reading.quantity in TOLD.get(reading.stage, ()) and tellable(reading)
    ]
    for reading in candidates:
        if accuses(reading):
            return reading.step, reading.quantity
    if not candidates:
        return None
    told = [reading for reading in candidates if reading.net == candidates[0].net][-1]
    return told.step, told.quantity


def tellable(reading: Reading) -> bool:
    """Drops and polarity are voltages too, but not those of the board."""
    return not reading.step.startswith(("drop ", "polarity "))


def value_of(readings: Iterable[Reading], wanted: tuple[str, str] | None) -> str:
    """The wanted number with its place, or nothing."""
    for reading in readings:
        if wanted == (reading.step, reading.quantity) and reading.value is not None:
            name = f"{reading.net}: " if reading.net and reading.stage in ("ohms", "rails", "power") else ""
            return f"{name}{show(reading.value, reading.unit, 3)}"
    return ""


def wanted_of(readings: Iterable[Reading], wanted: tuple[str, str] | None) -> str:
    """What a healthy board shows there as people say it, or nothing: close limits are said as their centre."""
    said = next((limits_words(item) for item in readings if wanted == (item.step, item.quantity)), "")
    return said.partition(" ±")[0].replace(" .. ", " to ")


def comparison(state: RunState, earlier: RunState) -> str:
    """What may be said of the two runs side by side."""
    now, before = state.started, earlier.started
    if now is None or before is None:
        return "One of the two checks never began."
    when = f"Before: check of {moment_in_words(before.started)}. Now: check of {moment_in_words(now.started)}."
    if now.board != before.board or now.serial != before.serial:
        return f"{when} They are of different boards: {before.board}, serial number {before.serial or 'none given'}."
    was, is_now = verdict_of(earlier), verdict_of(state)
    if was == "faulty" and is_now == "good":
        return f"{when} What was not in order then is in order now."
    if was == "faulty" and is_now == "faulty":
        return f"{when} The board still has a fault."
    return when
