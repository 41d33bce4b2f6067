"""One screenful of a running round, and what stays of it: widths, heights, words, marks, colours."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pytest
from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from autobench import app
from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import (
    Diagnosed,
    Event,
    Notice,
    PowerChanged,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    Watched,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.lines import Lines
from autobench.views.run_state import RunState, fold
from autobench.views.terminal_frame import frame
from autobench.views.terminal_summary import PROMPT, summary
from autobench.views.terminal_table import newest
from autobench.views.terminal_text import sent
from autobench.views.wording import MARKS, aside, harmless

SIZES = [(60, 20), (80, 24), (200, 50)]
FAULTS = [(), ("cpu-dead",), ("decoupler-short",)]
READING = Reading(
    step="rail +5V far",
    stage="rails",
    net="+5V",
    point="U18.8",
    quantity="voltage",
    value=4.704,
    unit="V",
    uncertainty=0.00013,
    low=4.6,
    high=5.2,
    limit_from="board file",
    verdict=Verdict.WITHIN,
)
STARTED = RunStarted(
    0.0, "run", "tarnbeck-8", "TB-1", {"video": "late"}, "baseline", "alder", False, None, ("a", "b"), {}, {}, "now"
)


@cache
def events_of(faults: tuple[str, ...]) -> tuple[Event, ...]:
    """A round on the simulated bench, event by event."""
    seen: list[Event] = []
    request = app.CheckRequest(
        "tarnbeck-8",
        serial="TB-0417",
        records="sqlite://",
        unattended=True,
        simulation=app.Simulation(faults, seed=1),
    )
    app.check(request, [seen.append])
    return tuple(seen)


def states_of(events: Sequence[Event]) -> list[RunState]:
    """The state after every event that changed it."""
    states = [RunState()]
    for event in events:
        state = fold(states[-1], harmless(event))
        if state is not states[-1]:
            states.append(state)
    return states[1:]


def state_of(*events: Event) -> RunState:
    return states_of(events)[-1]


def printed(lines: Sequence[Text], width: int, height: int) -> list[str]:
    """What a terminal of that size shows of the lines."""
    console = Console(
        file=io.StringIO(), record=True, force_terminal=True, width=width, height=height, legacy_windows=False
    )
    for line in lines:
        console.print(line)
    return console.export_text().split("\n")[:-1]


def plain(lines: Sequence[Text]) -> str:
    return "\n".join(line.plain for line in lines)


@pytest.mark.parametrize("faults", FAULTS, ids=str)
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_every_screenful_fits(width: int, height: int, faults: tuple[str, ...]) -> None:
    """No line is longer than the terminal is wide, none wraps, and there are no more of them than it is high."""
    for state in states_of(events_of(faults))[::7]:
        lines = frame(state, width, height)
        assert 1 <= len(lines) <= height
        shown = printed(lines, width, height)
        assert len(shown) == len(lines)
        assert max(cell_len(line) for line in shown) <= width


@pytest.mark.parametrize("faults", FAULTS, ids=str)
@pytest.mark.parametrize(("width", "height"), [*SIZES, (45, 14)])
def test_what_stays_fits_and_ends_with_what_matters(width: int, height: int, faults: tuple[str, ...]) -> None:
    """The last screenful, less the prompt, has the verdict, the first suspect with a reason, and the next check."""
    state = states_of(events_of(faults))[-1]
    lines = summary(state, width, height)
    assert max(cell_len(line) for line in printed(lines, width, height)) <= width
    if height < 20:
        return  # no terminal so small holds all of it at once
    last = lines[-(height - PROMPT) :]
    assert state.ended is not None
    assert state.ended.verdict.upper() in plain(last)
    if state.diagnosis.suspects:
        assert f"1. {state.diagnosis.suspects[0].place}" in plain(last)
        assert "for: " in plain(last)
        assert "NEXT, about" in plain(last)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_simulated_is_unmistakable(width: int, height: int) -> None:
    """Every screenful, while the round runs and of what stays, has the word in reverse video."""
    states = states_of(events_of(("cpu-dead",)))
    for state in states[::7]:
        assert "\x1b[1;7m SIMULATED " in sent(frame(state, width, height), width)[0]
    lines = sent(summary(states[-1], width, height), width)
    for first in range(max(len(lines) - height + 1, 1)):
        assert any(re.search(r"\x1b\[1;7m SIMULATED", line) for line in lines[first : first + height])


def test_a_real_bench_is_never_called_simulated() -> None:
    """The mark is there for the simulated bench only."""
    ended = state_of(STARTED, ReadingTaken(1.0, READING), RunEnded(2.0, "good", None, 2.0))
    assert "SIMULATED" not in plain(frame(ended, 80, 24)) + plain(summary(ended, 80, 24))


@pytest.mark.parametrize("faults", FAULTS, ids=str)
def test_the_table_and_the_plain_lines_tell_the_same(faults: tuple[str, ...]) -> None:
    """Both views show the same readings with the same verdicts in the same order."""
    stream = io.StringIO()
    lines = Lines(stream)
    for event in events_of(faults):
        lines.show(event)
    entries = re.findall(r"^SIMULATED    (\S.*?)(?: \[(.*?)\])?: (?:.* – )?(\w+)$", stream.getvalue(), re.MULTILINE)
    state = states_of(events_of(faults))[-1]
    table = [line.plain for line in newest(state.readings, 200, 10_000)[1:] if line.plain[-1:].isalpha()]
    table = [line for line in table if line.split()[-2:][0] in MARKS.values()]
    assert len(entries) == len(table) == len([one for one in state.readings if not aside(one)])
    for (name, point, verdict), line in zip(entries, table, strict=True):
        assert line.startswith(name[:20])
        assert point in line
        assert line.endswith(verdict)


@pytest.mark.parametrize("verdict", list(Verdict))
def test_a_verdict_has_a_word_and_a_mark(verdict: Verdict) -> None:
    """Without any colour each verdict is told by a word and by a sign of its own."""
    assert len(set(MARKS.values())) == len(Verdict)
    shown = newest([replace(READING, verdict=verdict, reason="because")], 80, 24)
    assert shown[1].plain.endswith(f"{MARKS[verdict]} {verdict}")
    assert shown[2].plain.strip() == "because"
    if verdict is not Verdict.WITHIN:
        state = state_of(STARTED, ReadingTaken(1.0, replace(READING, verdict=verdict, reason="because")))
        assert f"{MARKS[verdict]} {verdict}" in plain(summary(state, 80, 24))


def test_a_row_has_value_uncertainty_and_limits() -> None:
    """Step, point, value with its expanded uncertainty, limits and verdict stand in one line of 80 columns."""
    (_, row) = newest([READING], 80, 24)
    assert " ".join(row.plain.split()) == "rail +5V far U18.8 4.704 V ± 260 µV 4.6 .. 5.2 V ✓ within"


def test_a_long_reason_is_wrapped_below_its_reading() -> None:
    """A reason longer than the terminal is wide goes on, set in, over as many lines as it needs."""
    reason = "the probe slipped off its point and the scope saw the ripple of the lamp above the bench instead of it"
    shown = newest([replace(READING, verdict=Verdict.VOID, reason=reason)], 60, 20)[2:]
    assert len(shown) == 2
    assert " ".join(line.plain.strip() for line in shown) == reason
    assert all(line.plain.startswith("    ") for line in shown)


def test_a_conditional_reading_is_set_in_brackets_and_explained() -> None:
    """A reading that does not count looks different from one that does."""
    shown = newest([replace(READING, verdict=Verdict.OUTSIDE, conditional=True)], 80, 24)
    assert shown[1].plain.endswith("✗ (outside)")
    assert "counts for nothing" in plain(shown)


def test_the_newest_reading_stands_at_the_bottom() -> None:
    """The table is scrolled so that it ends with the newest reading, whole."""
    readings = [replace(READING, step=f"line D{number}", reason=f"seen {number}") for number in range(40)]
    shown = newest(readings, 80, 12)
    assert len(shown) <= 12
    assert "line D39" in shown[-2].plain
    assert shown[-1].plain.strip() == "seen 39"
    assert shown[1].plain.startswith("line")


def test_live_outputs_stand_first_and_large() -> None:
    """While anything is on its volts, amps and limit stand above all else, in words and in large figures."""
    on = [PowerChanged(1.0, "+5V", "on", 5.0, 1.376), Watched(1.5, "+5V", 5.05, 0.78, False)]
    lines = frame(state_of(STARTED, *on), 80, 24)
    assert lines[1].plain.strip() == "LIVE +5V 5.05 V 0.78 A (limit 1.38 A)"
    assert cell_len(lines[1].plain) == 80
    assert all("█" in line.plain or "▀" in line.plain for line in lines[2:5])
    off = PowerChanged(2.0, "+5V", "settled", 5.0, 1.376)
    assert plain(frame(state_of(STARTED, *on, off), 80, 24)).splitlines()[1] == "every output off, proved"


def test_an_output_is_called_live_until_it_was_proved_off() -> None:
    """Between OFF and its proof the output still counts as one that may carry volts."""
    going = frame(state_of(STARTED, PowerChanged(1.0, "+5V", "ending on", 5.0, 1.3)), 80, 24)
    assert "GOING OFF +5V" in plain(going)
    alarm = frame(state_of(STARTED, PowerChanged(1.0, "+5V", "alarm", 5.0, 1.3)), 80, 24)
    assert "NOT PROVED OFF +5V" in plain(alarm)


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_three_live_rails_leave_room_for_the_table(width: int, height: int) -> None:
    """However many outputs are on, each has its line, and readings are still to be seen."""
    events: list[Event] = [STARTED, StepStarted(0.5, "a", "rails", "a at U1.1")]
    for rail in ("-5V", "+5V", "+12V"):
        events += [PowerChanged(1.0, rail, "on", 5.0, 1.0), Watched(2.0, rail, 5.0, 0.5, rail == "-5V")]
    events += [ReadingTaken(3.0, replace(READING, step=f"line D{number}")) for number in range(30)]
    lines = frame(state_of(*events), width, height)
    assert [rail in plain(lines) for rail in ("LIVE -5V", "LIVE +5V", "LIVE +12V")] == [True] * 3
    assert "LIMITING" in plain(lines)
    assert sum("line D" in line.plain for line in lines) >= 5


def test_what_is_being_measured_and_the_time_left() -> None:
    """Stage, step, words, the place in the round, and what the plan still needs less what has passed."""
    events = (StepStarted(10.0, "a", "rails", "+5V at U18.8"), Watched(11.0, "+5V", 5.0, 0.5, False))
    planned = replace(STARTED, step_seconds={"a": 4.0, "b": 8.0})
    text = plain(frame(state_of(planned, *events), 80, 24))
    assert re.search(r"RAILS  a: \+5V at U18.8 +1 of 2, about 11 s left", text)
    assert "left" not in plain(frame(state_of(STARTED, *events), 80, 24))


def test_an_alarm_stays_and_stands_with_the_verdict() -> None:
    """An urgent notice is on every later screenful and on the last one, with the word nobody overlooks."""
    state = state_of(
        STARTED,
        Notice(1.0, "switch the supply off by hand", urgent=True),
        Notice(2.0, "tried once more"),
        RunEnded(3.0, "stopped", "not proved off", 3.0),
    )
    assert "ALARM: switch the supply off by hand" in plain(frame(state, 80, 24))
    assert "tried once more" in plain(frame(state, 80, 24))
    assert "ALARM: switch the supply off by hand" in plain(summary(state, 80, 24)[-22:])


def test_only_colours_that_both_kinds_of_terminal_show() -> None:
    """Bold, reverse, and of the eight basic colours red, green and magenta; never a background (common practice)."""
    state = states_of(events_of(("cpu-dead",)))[-1]
    lines = [*frame(state, 80, 24), *summary(state, 80, 24)]
    codes = {code for part in re.findall(r"\x1b\[([\d;]*)m", "".join(sent(lines, 80))) for code in part.split(";")}
    assert codes <= {"0", "1", "7", "31", "32", "35"}  # ECMA-48, 8.3.117
    assert {"31", "32"} <= codes
    bare = {
        code for part in re.findall(r"\x1b\[([\d;]*)m", "".join(sent(lines, 80, False))) for code in part.split(";")
    }
    assert bare <= {"0", "1", "7"}


def test_control_characters_are_spelt_out() -> None:
    """A name with an escape, a line end or a mark of direction in it is shown and does nothing."""
    name = "TB\x1b[2J\x07\r\n\u202e8\udc80\x9b31m"
    bad = replace(READING, step=f"rail {name}", verdict=Verdict.OUTSIDE, reason=f"why {name}")
    state = state_of(replace(STARTED, board=name, serial=name), Notice(1.0, name, urgent=True), ReadingTaken(2.0, bad))
    written = "".join(sent([*frame(state, 80, 24), *summary(state, 80, 24)], 80))
    assert re.sub(r"\x1b\[[\d;]*m", "", written).isprintable()
    assert "\\x1b[2J\\x07" in written
    assert "\\u202e8\\udc80\\x9b31m" in written.replace("\n", "")


def test_every_reading_that_is_not_within_stays_with_its_reason() -> None:
    """What was outside, void, marginal or skipped is named in the scroll-back; many alike are named together."""
    alike = [replace(READING, step=f"line D{n}", verdict=Verdict.SKIPPED, reason="not powered") for n in range(8)]
    void = replace(READING, step="ripple", verdict=Verdict.VOID, reason="no contact")
    state = state_of(STARTED, ReadingTaken(1.0, READING), *(ReadingTaken(2.0, each) for each in [void, *alike]))
    text = plain(summary(state, 80, 24))
    assert "∅ void      ripple [U18.8]" in text
    assert "no contact" in text
    assert "line D0 [U18.8]: 4.704 V ± 260 µV to line D7 [U18.8]: 4.704 V ± 260 µV, 8 readings" in " ".join(
        text.split()
    )
    assert text.count("not powered") == 1
    assert "rail +5V far" not in text


def test_at_most_three_suspects_with_why_and_why_not() -> None:
    """Three suspects with reasons on both sides, never called quite sure or quite impossible, and the next check."""
    suspects = tuple(
        Suspect(f"U{number}", None, "cpu-dead", chance, ("the CPU is dead", "seen flat"), ("clock good",))
        for number, chance in enumerate((0.999, 0.2, 0.0001, 0.0001, 0.0001))
    )
    diagnosis = Diagnosis(suspects, False, ("U0", "U1"), NextCheck("look at U1.6", "U1.6", 2.0, "it decides"))
    ended = RunEnded(2.0, "faulty", "rail low", 3.0)
    text = plain(summary(state_of(STARTED, Diagnosed(1.0, diagnosis), ended), 80, 24))
    assert "1. U0, over 99 %: the CPU is dead (cpu-dead)" in text
    assert "3. U2, under 1 %" in text
    assert "U3" not in text
    assert text.count("for: seen flat") == 3
    assert text.count("against: clock good") == 3
    assert "not told apart yet: U0, U1" in text
    assert text.index("FAULTY: rail low") < text.index("1. U0") < text.index("NEXT, about 2 min: look at U1.6")


def test_a_round_that_never_ended_says_nothing_of_the_board() -> None:
    """Cut off in the middle, the readings stay and an output that may be on is named."""
    state = state_of(STARTED, PowerChanged(1.0, "+5V", "on", 5.0, 1.3))
    text = plain(summary(state, 80, 24))
    assert "did not come to its end" in text
    assert "LIVE +5V" in text
    assert "GOOD" not in text
    assert summary(RunState(), 80, 24) == []


def test_what_was_not_as_it_should_be_stays_on_the_screen() -> None:
    """Long after its row scrolled away a reading outside is named, the newest first, as many as one line holds."""
    wrong = [replace(READING, step=f"line A{n}", verdict=Verdict.OUTSIDE, reason="flat") for n in range(12)]
    void = replace(READING, step="ripple +5V", verdict=Verdict.VOID, reason="no contact")
    silent = [
        replace(READING, step="ratio", verdict=Verdict.SKIPPED, reason="not powered"),
        replace(READING, step="line WR", verdict=Verdict.OUTSIDE, conditional=True),
    ]
    good = [replace(READING, step=f"line D{number}") for number in range(60)]
    events = [ReadingTaken(1.0, reading) for reading in (*wrong, void, *silent, *good)]
    (line,) = (each.plain for each in frame(state_of(STARTED, *events), 80, 24) if each.plain.startswith("so far"))
    assert line.startswith("so far: ∅ ripple +5V  ✗ line A11  ✗ line A10")
    assert line.endswith("more")
    assert cell_len(line) <= 80
    named = re.findall("✗|∅", line)
    assert len(named) + int(line.split()[-2]) == 13
    assert "so far" not in plain(frame(state_of(STARTED, *(ReadingTaken(1.0, each) for each in good)), 80, 24))
