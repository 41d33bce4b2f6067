"""The panel of a prompt on the live screen: everything needed at every size, and nothing by colour alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from rich.cells import cell_len
from rich.text import Text

from autobench.events import (
    Event,
    Notice,
    PowerChanged,
    Prompted,
    PromptEnded,
    PromptProgress,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    StepTakenAgain,
    TouchPlace,
    Watched,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.large import large, larger, largest
from autobench.views.run_state import RunState, fold
from autobench.views.terminal_frame import frame
from autobench.views.terminal_prompt import STEADY_WIDTH
from autobench.views.terminal_text import sent

SIZES = [(40, 12), (60, 18), (80, 24), (200, 50)]
STARTED = RunStarted(
    0.0, "run", "tarnbeck-8", "TB-1", {"video": "late"}, "baseline", "hand bench", True, None, ("a", "b"), {}, {}, "now"
)
STEP = StepStarted(1.0, "a", "rails", "+5V at U18.8")
ON: list[Event] = [PowerChanged(1.0, "+5V", "on", 5.0, 1.376), Watched(1.5, "+5V", 5.05, 0.78, False)]
READING = Reading("line D0", "bus", "D0", "U1.14", "voltage", 4.7, "V", 1e-4, 4.6, 5.2, "board file", Verdict.WITHIN)
READINGS: list[Event] = [ReadingTaken(2.0, replace(READING, step=f"line D{number}")) for number in range(40)]
PLACE = TouchPlace(
    "meter",
    "U18.8",
    "U18.16",
    "U18 (RAM)",
    "8",
    "component side, left row, 8th from the notch",
    "+5V",
    "4.60 V .. 5.20 V",
)
KEYS = (("enter", "take"), ("again", "again"), ("back", "back"), ("skip", "skip"), ("off", "off"))
TOUCH = Prompted(3.0, "touch", "a", "hold the red tip on U18.8", KEYS, PLACE)
TOUCHING = PromptProgress(3.1, "touching, 4.98 V", 0.5)
TYPING = (("enter", "done"), ("off", "off"))


def screen(width: int, height: int, *events: Event) -> list[Text]:
    state = RunState()
    for event in (STARTED, STEP, *events):
        state = fold(state, event)
    lines = frame(state, width, height)
    assert len(lines) <= height
    assert all(cell_len(line.plain) <= width for line in lines)
    return lines


def words(lines: list[Text]) -> str:
    """What is to be read, whatever the line breaks."""
    return " ".join(" ".join(line.plain for line in lines).split())


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_everything_needed_is_on_every_screen(width: int, height: int) -> None:
    """Live output with its limit, tips, part, pin, where, net, expected, how it stands, and all keys."""
    text = words(screen(width, height, *ON, *READINGS, TOUCH, TOUCHING))
    for wanted in (
        "SIMULATED",
        "LIVE +5V 5.05 V 0.78 A (limit 1.38 A)",
        "TOUCH U18.8 with the meter's red tip, black on U18.16",
        "U18 (RAM) pin 8, component side, left row, 8th from the notch",
        "+5V, expected 4.60 V .. 5.20 V",
        "touching, 4.98 V",
        "Enter take · r again · b back · s skip",
        "o off",
    ):
        assert wanted in text


@pytest.mark.parametrize(("width", "height", "letters"), [(60, 18, large), (80, 24, larger), (200, 50, largest)])
def test_the_point_stands_in_large_letters(width: int, height: int, letters: object) -> None:
    """Three lines and more: on a usual screen over 12 mm, where 1.5 m ask for 1/200, 8 mm (common practice)."""
    assert callable(letters)
    lines = [line.plain.strip() for line in screen(width, height, *ON, *READINGS, TOUCH)]
    wanted = [row.strip() for row in letters("U18.8")]
    assert any(lines[at : at + len(wanted)] == wanted for at in range(len(lines)))


@pytest.mark.parametrize(("width", "height", "least"), [(80, 24, 7), (200, 50, 20)])
def test_the_newest_readings_stay_beside_it(width: int, height: int, least: int) -> None:
    """A few at 80 by 24, many where there is room; the newest is the last line."""
    lines = screen(width, height, *ON, *READINGS, TOUCH)
    assert sum(line.plain.startswith("line D") for line in lines) >= least
    assert lines[-1].plain.startswith("line D39")


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_three_rails_and_an_alarm_take_neither_instruction_nor_keys(width: int, height: int) -> None:
    """Where lines are few the words about the place give way; outputs, alarm, instruction and keys stay."""
    rails: list[Event] = []
    for rail in ("-5V", "+5V", "+12V"):
        rails += [PowerChanged(1.0, rail, "on", 5.0, 1.0), Watched(2.0, rail, 5.0, 0.5, rail == "-5V")]
    alarm = Notice(2.5, "the supply does not answer", urgent=True)
    text = words(screen(width, height, *rails, *READINGS, alarm, TOUCH, TOUCHING))
    for wanted in ("LIVE -5V", "LIVE +5V", "LIVE +12V", "LIMITING", "ALARM: the supply does not answer"):
        assert wanted in text
    for wanted in ("TOUCH U18.8", "black on U18.16", "touching, 4.98 V", "Enter take", "s skip", "o off"):
        assert wanted in text


def test_the_bar_fills_over_the_steady_time() -> None:
    """Empty, half and full by the share that has passed, and always as long."""
    for share, full in ((0.0, 0), (0.5, STEADY_WIDTH // 2), (1.0, STEADY_WIDTH), (1.7, STEADY_WIDTH)):
        (line,) = [
            line.plain
            for line in screen(80, 24, TOUCH, PromptProgress(3.1, "touching", share))
            if line.plain.endswith(" touching")
        ]
        assert line.strip().split(" ")[0] == "█" * full + "░" * (STEADY_WIDTH - full)


@pytest.mark.parametrize("kind", ["reason", "number"])
def test_typed_text_has_a_cursor(kind: str) -> None:
    """What was typed stands before the cursor, its end if it is long; Esc switches off, since o is a letter here."""
    asked = Prompted(3.0, kind, "a", "how many amps does the supply show?", TYPING)
    assert "> █" in words(screen(80, 24, asked))
    lines = screen(40, 12, *ON, asked, PromptProgress(3.1, "", typed="x" * 60 + " so far"))
    (typed,) = [line.plain for line in lines if line.plain.strip().startswith(">")]
    assert typed.endswith("xx so far█")
    assert typed.startswith(" > …x")
    assert "Enter done · Esc off" in words(lines)
    assert "how many amps does the supply show?" in words(lines)


def test_a_supply_worked_by_hand_is_set_by_large_figures() -> None:
    """Volts and amps to set, and ON and OFF to switch, are read from where the supply stands."""
    shown = {
        (large, "5.00 V  1.38 A"): Prompted(3.0, "set", "a", "set the supply", TYPING, None, "+5V", 5.0, 1.376),
        (larger, "ON"): Prompted(3.0, "switch", "a", "switch it on", TYPING, None, "+5V", on=True),
        (larger, "OFF"): Prompted(3.0, "switch", "a", "switch it off", TYPING, None, "+5V", on=False),
    }
    for (letters, figures), prompt in shown.items():
        lines = [line.plain.strip() for line in screen(80, 24, prompt)]
        assert letters(figures)[0].strip() in lines


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_a_supply_to_be_switched_off_is_never_hidden_by_the_tips(width: int, height: int) -> None:
    """A prompt that wants both a switch and the tips says both, and its large letters are those of the switch."""
    asked = "Switch the supply of +5V OFF now, and hold the meter's tips on U18.8 and U18.16."
    lines = screen(width, height, *ON, *READINGS, Prompted(3.0, "switch", "a", asked, (), PLACE, "+5V", on=False))
    assert asked in words(lines)
    assert "U18 (RAM) pin 8" in words(lines)
    if height >= 24:
        letters = largest if height == 50 else larger
        assert letters("OFF")[0].strip() in [line.plain.strip() for line in lines]


def test_a_point_too_long_for_large_letters_is_read_in_the_instruction() -> None:
    """It is never cut: without room for large letters the instruction has it whole."""
    place = replace(PLACE, point="CONNECTOR-12.A31", part="CONNECTOR-12", pin="A31")
    lines = screen(40, 18, *ON, replace(TOUCH, place=place))
    assert "CONNECTOR-12.A31" in words(lines)
    assert not any(large(place.point)[0][:10] in line.plain for line in lines)


def test_a_prompt_is_gone_when_it_is_over() -> None:
    """Ended by itself or with the run, it asks for nothing any more; a step taken again loses its readings."""
    assert "TOUCH" not in words(screen(80, 24, TOUCH, TOUCHING, PromptEnded(4.0, "taken")))
    assert "TOUCH" not in words(screen(80, 24, TOUCH, RunEnded(4.0, "stopped", None, 4.0)))
    assert "line D0" not in words(screen(80, 24, READINGS[0], StepTakenAgain(4.0, "line D0", "r")))


def test_it_reads_without_colour() -> None:
    """Without any colour the words are the same, and instruction and live output are still set off."""
    lines = screen(80, 24, *ON, TOUCH, TOUCHING)
    bare = sent(lines, 80, colour=False)
    assert any("TOUCH" in line and "\x1b[1;7m" in line for line in bare)
    assert any("LIVE" in line and "\x1b[1;7m" in line for line in bare)
    assert not any(code in line for line in bare for code in ("\x1b[31", ";31", ";32"))
