"""Plain lines: what a pipe, a log and a simple terminal show."""

from __future__ import annotations

import io

from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import (
    Diagnosed,
    Notice,
    PowerChanged,
    Prompted,
    PromptEnded,
    PromptProgress,
    ReadingTaken,
    RunEnded,
    StepStarted,
    StepTakenAgain,
    TouchPlace,
    Watched,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.lines import Lines

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
    reason="below the data-sheet minimum",
)


def shown(*events: object) -> list[str]:
    stream = io.StringIO()
    lines = Lines(stream)
    for event in events:
        lines.show(event)  # type: ignore[arg-type]  # events of several kinds in one tuple
    return stream.getvalue().splitlines()


def test_a_reading_is_one_line_with_its_verdict_by_word() -> None:
    """Step, point, value with its expanded uncertainty, verdict; the reason on a line of its own."""
    first, second = shown(ReadingTaken(1.0, READING))
    assert first == "  rail +5V far [U18.8]: 4.704 V ± 260 µV – within"
    assert second.strip() == "below the data-sheet minimum"


def test_a_stage_is_announced_once() -> None:
    """Steps of one stage stand under one heading."""
    lines = shown(StepStarted(0.0, "a", "rails", "x"), StepStarted(1.0, "b", "rails", "y"))
    assert lines == ["– rails –"]


def test_on_and_off_are_both_said() -> None:
    """Whoever reads along knows when the board is live and when that was proved over."""
    lines = shown(
        PowerChanged(0.0, "+5V", "on", 5.0, 1.3),
        PowerChanged(1.0, "+5V", "ending on", 5.0, 1.3),
        PowerChanged(2.0, "+5V", "settled", 5.0, 1.3),
        PowerChanged(3.0, "+5V", "settled", 5.0, 1.3),
    )
    assert lines == ["+5V ON: 5.000 V, at most 1.300 A", "+5V off, proved"]


def test_an_alarm_is_unmistakable() -> None:
    """An urgent notice begins with a word nobody overlooks."""
    assert shown(Notice(0.0, "switch the supply off by hand", urgent=True))[0].startswith("ALARM: ")


def test_at_most_three_suspects_with_why_and_why_not() -> None:
    """The technician sees three suspects, the reasons on both sides, and the next check."""
    suspects = tuple(Suspect(f"U{i}", None, "cpu-dead", 0.2, ("seen flat",), ("clock good",)) for i in range(5))
    lines = shown(
        Diagnosed(0.0, Diagnosis(suspects, False, ("U0", "U1"), NextCheck("look", "U1.6", 2.0, "it decides")))
    )
    text = "\n".join(lines)
    assert "U2" in text
    assert "U3" not in text
    assert "for: seen flat" in text
    assert "against: clock good" in text
    assert "not told apart yet: U0, U1" in text
    assert "next check, about 2 min: look" in text


def test_the_verdict_comes_last_and_large() -> None:
    """The board's verdict in capitals with its reason."""
    assert shown(RunEnded(0.0, "faulty", "rail low", 3.0)) == ["FAULTY: rail low"]


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
TOUCH = Prompted(1.0, "touch", "rail +5V far", "hold the red tip on U18.8", KEYS, PLACE)


def test_a_prompt_is_one_line_with_everything_in_it() -> None:
    """Point, tips, part, pin, where, net, what is expected, and the keys."""
    assert shown(TOUCH) == [
        "TOUCH U18.8 with the meter's red tip, black on U18.16 – U18 (RAM) pin 8, component side, left row, "
        "8th from the notch; +5V, expected 4.60 V .. 5.20 V; "
        "keys: Enter take, r again, b back, s skip, o off"
    ]


def test_a_prompt_on_a_live_board_says_what_is_live() -> None:
    """Volts, amps and limit of every output that may carry volts stand in the line; once proved off no more."""
    on = PowerChanged(0.0, "+5V", "on", 5.0, 1.3)
    looks = (Watched(0.5, "+5V", 5.01, 0.78, False), Watched(0.7, "+5V", 5.02, 0.79, False))
    off = PowerChanged(2.0, "+5V", "settled", 5.0, 1.3)
    assert "; LIVE +5V 5.02 V 0.79 A (limit 1.30 A); keys:" in shown(on, *looks, TOUCH)[-1]
    assert "LIVE" not in shown(on, *looks, off, TOUCH)[-1]


def test_progress_is_said_when_its_words_change() -> None:
    """Other figures are no line, other words are, and never more than a few a prompt, however long it waits."""
    touching = [PromptProgress(1.0 + n / 10, f"touching, {4.9 + n / 1000:.3f} V", n / 100) for n in range(100)]
    lines = shown(TOUCH, PromptProgress(1.0, "no contact"), *touching, PromptEnded(9.0, "taken"))
    assert lines[1:] == ["  no contact", "  touching, 4.900 V"]
    restless = [PromptProgress(1.0, words) for words in ("no contact", "touching, 1 V") * 50]
    assert len(shown(TOUCH, *restless)) <= 5
    assert len(shown(TOUCH, *restless, PromptEnded(2.0, "taken"), TOUCH, *restless)) <= 10
    assert shown(TOUCH, *(PromptProgress(1.0, "", typed="5" * n) for n in range(9)))[1:] == []


def test_a_prompt_that_was_not_taken_says_how_it_ended() -> None:
    """Taken needs no words, since its reading follows; everything else has a line."""
    said = {how: shown(TOUCH, PromptEnded(2.0, how, "no access"))[1:] for how in ("taken", "skipped", "back", "off")}
    assert said == {
        "taken": [],
        "skipped": ["  U18.8 – skipped: no access"],
        "back": ["  U18.8 – back to the one before: no access"],
        "off": ["  U18.8 – SWITCHING OFF: no access"],
    }


def test_a_step_taken_again_is_said() -> None:
    """Whoever reads along knows that what stood there no longer counts."""
    (line,) = shown(StepTakenAgain(3.0, "rail +5V far", "the key r"))
    assert line == "rail +5V far is taken again, what it said before counts no longer: the key r"


def test_prompts_without_a_place_are_said_in_their_own_words() -> None:
    """The kind in capitals, the words, what a supply is to be set to; while typing the off key is Esc."""
    keys = (("enter", "done"), ("off", "off"))
    assert shown(Prompted(1.0, "set", "power", "set the supply", keys, None, "+5V", 5.0, 1.376)) == [
        "set the supply; +5V 5.00 V, at most 1.38 A; keys: Enter done, o off"
    ]
    power = Prompted(1.0, "power", "power", "POWER: hands off the board", keys)
    assert shown(power) == ["POWER: hands off the board; keys: Enter done, o off"]
    off = Prompted(1.0, "switch", "power", "Switch +5V OFF and hold the tips on U18.8", (), PLACE, "+5V", on=False)
    assert shown(off)[0].startswith("Switch +5V OFF and hold the tips on U18.8 – U18 (RAM) pin 8")
    assert shown(Prompted(1.0, "reason", "ohms", "why?", keys)) == ["REASON: why?; keys: Enter done, Esc off"]
    clip = Prompted(
        1.0,
        "clip",
        "clock",
        "push it on firmly",
        keys,
        TouchPlace("scope 1", "U1.6", "J1.2", "U1 (CPU)", "6", "", "CPUCLK", ""),
    )
    assert shown(clip) == [
        "CLIP U1.6 with the probe of scope 1, its ground on J1.2 – U1 (CPU) pin 6; CPUCLK; push it on firmly; "
        "keys: Enter done, o off"
    ]
