"""One screenful while a round runs: a pure function of the run's state and the size of the screen. Draws nothing.

From the top: what board on what bench; every output that may carry volts, large; what is being measured, and the time
left; alarms; what was not as it should be so far; the readings, newest at the bottom. While a person is wanted, what
to do stands above the readings. Whatever must give way, the outputs and alarms do not.
"""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text

from autobench.events import Notice, PowerChanged, Prompted, Watched
from autobench.views.large import HIGH, WIDE, large, larger
from autobench.views.run_state import RunState
from autobench.views.terminal_prompt import prompt_lines
from autobench.views.terminal_table import newest, so_far
from autobench.views.terminal_text import LIVE_STYLE, SIMULATED_STYLE, bar, fitted, wrapped
from autobench.views.wording import live_outputs, output_words, started_words, time_left_words

SIMULATED = " SIMULATED "
MOST_HEADER = 2  # lines
MOST_ALARMS = 2
LEAST_TABLE = 8  # lines of the table below which outputs are shown small
FAR = 100  # columns: further to the right nobody looks for the time left
LOW = 18  # lines of the screen below which a prompt leaves room for little else
LEAST_BESIDE = 4  # lines of the table that stay beside a prompt


def frame(state: RunState, width: int, height: int) -> list[Text]:
    """At most `height` lines, none longer than `width` columns."""
    if state.prompt is not None and state.ended is None:
        return prompt_frame(state, state.prompt, width, height)
    top = header(state, width)
    middle = [*now_lines(state, width), *alarm_lines(state, width), *so_far(state.readings, width)]
    letters = larger if width >= WIDE and height >= HIGH else large
    power = power_lines(state, width, height - len(top) - len(middle) - LEAST_TABLE, letters)
    lines = [*top, *power, *middle]
    lines += newest(state.readings, width, height - len(lines)) if state.readings else []
    return [fitted(line, width) for line in lines[:height]]


def prompt_frame(state: RunState, prompt: Prompted, width: int, height: int) -> list[Text]:
    """A screenful while a person is wanted: what is live, then what to do, then the newest readings.

    The point is the largest thing to be seen. Where lines are few the readings go first, then what is being measured,
    then large letters; never the outputs, the instruction and its keys.
    """
    low = height < LOW
    top = header(state, width)[: 1 if low else MOST_HEADER]
    alarms = alarm_lines(state, width)[: 1 if low else height]
    now = [] if low else now_lines(state, width)
    power = power_lines(state, width, height // 4 if height >= HIGH else 0, large)
    before = [*top, *power, *alarms, *now]
    table = [] if low else so_far(state.readings, width)
    least = 0 if low or not state.readings else len(table) + min(LEAST_BESIDE, len(state.readings) + 1)
    lines = [*before, *prompt_lines(prompt, state.progress, width, height - len(before) - least, height), *table]
    lines += newest(state.readings, width, height - len(lines)) if state.readings else []
    return [fitted(line, width) for line in lines[:height]]


def header(state: RunState, width: int) -> list[Text]:
    """Board, serial number, options, sequence and bench, behind the mark of a bench that is not real."""
    if state.started is None:
        return []
    mark = SIMULATED if state.started.simulated else ""
    first = f"{mark} " if mark else ""
    lines = wrapped(started_words(state.started), width, "bold", first=first, rest="")
    if mark:
        lines[0].stylize(SIMULATED_STYLE, 0, len(mark))
    if len(lines) > MOST_HEADER:
        lines[MOST_HEADER - 1] = Text(f"{lines[MOST_HEADER - 1].plain[: width - 1]}…", "bold")
    return lines[:MOST_HEADER]


def power_lines(state: RunState, width: int, room: int, letters: Callable[[str], list[str]]) -> list[Text]:
    """Every output that may carry volts in words, and in large figures where `room` lines allow it."""
    live = live_outputs(state)
    if not live:
        words = "every output off, proved" if state.outputs else ""
        return [Text(words)] if words else []
    seen = [figures(changed, look) for changed, look in live]
    tall = len(letters("0")) + 1
    lines: list[Text] = []
    for (changed, look), shown in zip(live, seen, strict=True):
        lines += [bar(line.plain, width, LIVE_STYLE) for line in wrapped(output_words(changed, look), width - 1)]
        if shown and len(live) * tall <= room and len(letters(shown)[0]) < width:
            lines += [Text(f" {part}".rstrip(), "bold") for part in letters(shown)]
    return lines


def figures(changed: PowerChanged, look: Watched | None) -> str:
    """Volts and amps of the last look, for large figures; nothing while there is none."""
    if look is None or look.at < changed.at or changed.state not in ("on", "probing"):
        return ""
    return f"{look.volts:.2f} V  {look.amps:.2f} A"


def now_lines(state: RunState, width: int) -> list[Text]:
    """What is being done now: stage, step and words; how far the round is and how long it still takes."""
    if state.started is None:
        return []
    if state.step is None:
        return wrapped("opening the instruments", width)
    step, steps = state.step, state.started.steps
    number = steps.index(step.step) + 1 if step.step in steps else 0
    place = f"{number} of {len(steps)}" if number else ""
    left = seconds_left(state)
    progress = ", ".join(part for part in (place, time_left_words(left) if left is not None else "") if part)
    doing = step.words if step.words.startswith(step.step) else f"{step.step}: {step.words}"
    lines = wrapped(doing, width, "bold", first=f"{step.stage.upper()}  ")[:2]
    right = min(width, FAR)
    if progress and len(lines) == 1 and lines[0].cell_len + len(progress) + 2 <= right:
        lines[0].append(" " * (right - lines[0].cell_len - len(progress)) + progress)
        return lines
    return [*lines, Text(progress)] if progress else lines


def seconds_left(state: RunState) -> float | None:
    """What the plan still needs from the step being taken on, s; `None` where no plan is known."""
    if state.started is None or state.step is None or state.step.step not in state.started.steps:
        return None
    steps = state.started.steps[state.started.steps.index(state.step.step) :]
    planned = [state.started.step_seconds.get(name) for name in steps]
    if all(seconds is None for seconds in planned):
        return None
    seen = [state.step.at, *(look.at for _, look in state.looks), *(changed.at for _, changed in state.outputs)]
    spent = min(max(seen) - state.step.at, planned[0] or 0.0)
    return sum(seconds or 0.0 for seconds in planned) - spent


def alarm_lines(state: RunState, width: int) -> list[Text]:
    """The last alarms, which stay, and the last notice that is none."""
    urgent = [notice for notice in state.notices if notice.urgent]
    lines: list[Text] = []
    for notice in urgent[-MOST_ALARMS:]:
        lines += alarm(notice, width)
    if state.notices and not state.notices[-1].urgent:
        lines += wrapped(state.notices[-1].words, width)
    return lines


def alarm(notice: Notice, width: int) -> list[Text]:
    """An alarm, reversed over the whole width."""
    words = wrapped(f"ALARM: {notice.words}", width - 2)
    return [bar(line.plain, width, LIVE_STYLE) for line in words]
