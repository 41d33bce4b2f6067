"""Plain lines: what a pipe, a log and a simple terminal show."""

from __future__ import annotations

import io

from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import Diagnosed, Notice, PowerChanged, ReadingTaken, RunEnded, StepStarted
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
