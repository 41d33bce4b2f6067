"""What stays in the scroll-back once a round is over: a pure function of the run's state. Draws nothing.

First every reading that is not within, then – together on the last screenful – what was checked, the board's verdict,
the suspects with why and why not, and the next check. Only the number of reasons gives way to a small screen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby

from rich.text import Text

from autobench.diagnosis.result import Suspect
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.large import HIGH, WIDE, large, larger
from autobench.views.run_state import RunState
from autobench.views.terminal_frame import alarm, header
from autobench.views.terminal_text import BOARD_STYLES, LIVE_STYLE, SIMULATED_STYLE, VERDICT_STYLES, bar, wrapped
from autobench.views.wording import (
    MARKS,
    MOST_SHOWN,
    live_outputs,
    output_words,
    reading_name,
    reasons_for,
    repair_lines,
    suspect_words,
    value_words,
)

PROMPT = 2  # lines of the shell's prompt that stand below the last screenful
FOR, AGAINST = "   for: ", "   against: "
MOST_LINES = 1000
READABLE = 120  # columns: in longer lines the eye loses its place
MANY = 3  # readings with one and the same reason that are still named one by one


def summary(state: RunState, width: int, height: int) -> list[Text]:
    """Lines to leave in the scroll-back, none longer than `width`; nothing for a run that never began."""
    if state.started is None:
        return []
    full, width = width, min(width, READABLE)
    before = [*not_within(state.readings, width), *notices(state, width)]
    top = [*header(state, full), *alarms(state, full), *board_lines(state, full, height)]
    bottom = [*group_lines(state, width), *next_check_lines(state, width)]
    suspects = state.diagnosis.suspects[:MOST_SHOWN]
    room = height - PROMPT - len(top) - len(bottom)
    named = next((count for count in range(len(suspects), 1, -1) if room_for(suspects[:count], width, room)), 1)
    if named < len(suspects):
        before += [Text("who may be to blame, in full:"), *suspect_lines(suspects, width, MOST_LINES)]
    shown = suspect_lines(suspects[:named], width, room)
    last = [*top, *shown, *bottom]
    if len(before) + len(last) > height - PROMPT:
        before = [*header(state, full), *before]
    return [*(stamped(before, full, height) if state.started.simulated else before), *last]


def stamped(lines: list[Text], width: int, height: int) -> list[Text]:
    """Lines of a bench that is not real, with that said so often that no screenful is without it."""
    every = max(height - 4, 1)
    marked: list[Text] = []
    for number, line in enumerate(lines):
        if number and number % every == 0:
            marked.append(bar("SIMULATED", width, SIMULATED_STYLE))
        marked.append(line)
    return marked


def not_within(readings: Sequence[Reading], width: int) -> list[Text]:
    """Every reading that is not within, with its reason; neighbours with the same reason together."""
    lines: list[Text] = []
    wrong = [reading for reading in readings if reading.verdict is not Verdict.WITHIN]
    reason: str | None = None
    for _, neighbours in groupby(wrong, key=lambda each: (each.verdict, each.reason, each.conditional)):
        group = list(neighbours)
        lines += alike_lines(group, width, group[0].reason if group[0].reason != reason else None)
        reason = group[0].reason or reason
    return lines


def alike_lines(group: list[Reading], width: int, reason: str | None) -> list[Text]:
    """Readings with one verdict and one reason: each on its line, or the first and the last of many."""
    verdict = group[0].verdict
    mark = f"{MARKS[verdict]} {verdict:<9} "
    conditional = " – conditional" if group[0].conditional else ""
    named = [f"{name_and_place(reading)}{conditional}" for reading in group]
    if len(group) > MANY:
        ends = f"{name_and_place(group[0])} to {name_and_place(group[-1])}"
        named = [f"{ends}, {len(group)} readings{conditional}"]
    lines: list[Text] = []
    for words in named:
        entry = wrapped(words, width, first=mark)
        entry[0].stylize(VERDICT_STYLES[verdict], 0, len(mark))
        lines += entry
    return lines + (wrapped(reason, width, first=" " * len(mark)) if reason else [])


def name_and_place(reading: Reading) -> str:
    """Name, point and value of a reading, as far as it has them."""
    point = f" [{reading.point}]" if reading.point else ""
    value = f": {value_words(reading)}" if reading.value is not None or reading.state is not None else ""
    return f"{reading_name(reading)}{point}{value}"


def notices(state: RunState, width: int) -> list[Text]:
    """What else was said on the way; alarms stand beside the verdict."""
    return [line for notice in state.notices if not notice.urgent for line in wrapped(notice.words, width)]


def alarms(state: RunState, width: int) -> list[Text]:
    """Outputs that were not proved off, and what was urgent."""
    lines = [bar(output_words(changed, look), width, LIVE_STYLE) for changed, look in live_outputs(state)]
    for words in dict.fromkeys(notice for notice in state.notices if notice.urgent):
        lines += alarm(words, width)
    return lines


def board_lines(state: RunState, width: int, height: int) -> list[Text]:
    """The board's verdict, large, and in words with its reason; then how much stands behind it."""
    if state.ended is None:
        return wrapped("the round did not come to its end: nothing is said of this board", width, "bold")
    verdict, reason = state.ended.verdict, state.ended.reason
    style = BOARD_STYLES.get(verdict, "bold")
    big = larger if width >= WIDE and height >= HIGH else large
    lines = [Text(row.rstrip(), style) for row in big(verdict.upper())]
    lines += wrapped(f"{verdict.upper()}{': ' + reason if reason else ''}", width, "bold")
    power = ", every output off, proved" if state.outputs and not live_outputs(state) else ""
    return lines + wrapped(f"{counted(state.readings)} in {state.ended.seconds:.0f} s{power}", width)


def counted(readings: Iterable[Reading]) -> str:
    """How many readings there are of each verdict."""
    found = Counter(reading.verdict for reading in readings)
    total = f"{found.total()} reading{'s' if found.total() != 1 else ''}"
    if len(found) == 1:
        return f"{total}, {'all ' if found.total() > 1 else ''}{next(iter(found))},"
    named = ", ".join(f"{found[verdict]} {verdict}" for verdict in Verdict if found[verdict])
    return f"{total} ({named})" if named else "no readings"


def room_for(suspects: Sequence[Suspect], width: int, room: int) -> bool:
    """Whether so many suspects can be named in `room` lines with at least one reason for the first."""
    names = suspect_lines(suspects, width, 0)
    reasons = reasons_for(suspects[0])[:1]
    return len(names) + sum(len(wrapped(words, width, first=FOR)) for words in reasons) <= room


def suspect_lines(suspects: Sequence[Suspect], width: int, room: int) -> list[Text]:
    """Each suspect with as many reasons why and why not as `room` lines hold, the foremost of everybody first."""
    names = [
        wrapped(suspect_words(each), width, "bold", first=f"{number}. ") for number, each in enumerate(suspects, 1)
    ]
    why: list[list[Text]] = [[] for _ in suspects]
    why_not: list[list[Text]] = [[] for _ in suspects]
    room -= sum(len(lines) for lines in names)
    for rank in range(MOST_SHOWN):
        for shown, first, reasons in (
            (why, FOR, [reasons_for(each) for each in suspects]),
            (why_not, AGAINST, [each.against for each in suspects]),
        ):
            for lines, quoted in zip(shown, reasons, strict=True):
                more = wrapped(quoted[rank], width, first=first) if rank < len(quoted) else []
                if len(more) <= room:
                    lines += more
                    room -= len(more)
    return [line for parts in zip(names, why, why_not, strict=True) for lines in parts for line in lines]


def group_lines(state: RunState, width: int) -> list[Text]:
    """Who cannot be told apart."""
    diagnosis = state.diagnosis
    if diagnosis.told_apart or not diagnosis.group:
        return []
    return wrapped(f"not told apart yet: {', '.join(diagnosis.group)}", width)


def next_check_lines(state: RunState, width: int) -> list[Text]:
    """The next check, how long it takes, and why it is the one."""
    check = state.diagnosis.next_check
    if check is None:
        return []
    return [
        *wrapped(check.what, width, "bold", first=f"NEXT, about {check.minutes:g} min: ", rest="   "),
        *wrapped(check.why, width, first="   "),
        *(line for words in repair_lines(state.diagnosis) for line in wrapped(words.strip(), width, first="   ")),
        *(wrapped(state.investigated.words, width, "bold") if state.investigated is not None else []),
    ]
