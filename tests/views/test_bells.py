"""What is heard at a hand bench: how many strokes, when, and with which spacing."""

from __future__ import annotations

from dataclasses import replace

from autobench.events import Event, Notice, Prompted, PromptEnded, ReadingTaken, RunEnded, StepStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.bells import PAUSE, SPACING, Bells

STEP = StepStarted(1.0, "rail +5V far", "rails", "+5V at U18.8")
PROMPT = Prompted(1.0, "touch", "rail +5V far", "", ())
TAKEN = PromptEnded(2.0, "taken")
ALARM = Notice(3.0, "switch the supply off by hand", urgent=True)
ENDED = RunEnded(9.0, "faulty", None, 9.0)


def read(verdict: Verdict) -> ReadingTaken:
    return ReadingTaken(
        2.5,
        Reading("rail +5V far", "rails", "+5V", "U18.8", "voltage", 4.7, "V", 1e-4, 4.6, 5.2, "board file", verdict),
    )


def heard(*events: Event, wanted: bool = True) -> list[float]:
    """When strokes come, s, if all events happen at 0 and somebody looks every hundredth of a second."""
    now = [100.0]
    bells = Bells(lambda: now[0], wanted)
    for event in events:
        bells.hear(event)
    strokes = []
    for hundredth in range(400):
        now[0] = 100.0 + hundredth / 100.0
        if bells.due():
            strokes.append(hundredth / 100.0)
    assert bells.wait() is None
    return strokes


def test_each_meaning_has_its_number_of_strokes() -> None:
    """Taken one, then two for outside or three for void; a reading that is as it should be adds none."""
    assert len(heard(STEP, PROMPT, TAKEN)) == 1
    assert len(heard(STEP, PROMPT, TAKEN, read(Verdict.WITHIN))) == 1
    assert len(heard(STEP, PROMPT, TAKEN, read(Verdict.OUTSIDE))) == 1 + 2
    assert len(heard(STEP, PROMPT, TAKEN, read(Verdict.VOID))) == 1 + 3
    conditional = read(Verdict.OUTSIDE)
    assert (
        len(heard(STEP, PROMPT, TAKEN, replace(conditional, reading=replace(conditional.reading, conditional=True))))
        == 1
    )
    assert len(heard(STEP, PROMPT, ALARM)) == 5
    assert len(heard(ENDED)) == 1


def test_strokes_of_one_group_are_close_and_groups_apart() -> None:
    """One, a pause, two: never heard as three."""
    first, second, third = heard(STEP, PROMPT, TAKEN, read(Verdict.OUTSIDE))
    assert first == 0.0
    assert second - first >= PAUSE - 1e-9
    assert SPACING - 1e-9 <= third - second < SPACING + 0.02
    assert PAUSE > 2 * SPACING


def test_a_reading_said_before_its_prompt_is_over_is_heard_after_it() -> None:
    """The order in which a run tells the two makes no difference to the ear."""
    assert len(heard(STEP, PROMPT, read(Verdict.OUTSIDE), TAKEN)) == 1 + 2
    assert len(heard(STEP, PROMPT, read(Verdict.OUTSIDE), PromptEnded(2.0, "skipped"))) == 0


def test_many_readings_of_one_touch_are_heard_once() -> None:
    """Eight values outside from one touch are two strokes, not sixteen."""
    assert len(heard(STEP, PROMPT, TAKEN, *[read(Verdict.OUTSIDE)] * 8)) == 1 + 2


def test_only_where_a_person_answered() -> None:
    """Skipped prompts and readings of a fixture are silent; an answered question is, and what it led to is not."""
    assert heard(STEP, read(Verdict.OUTSIDE), read(Verdict.VOID)) == []
    assert heard(STEP, PROMPT, PromptEnded(2.0, "skipped"), read(Verdict.SKIPPED)) == []
    assert heard(STEP, PROMPT, PromptEnded(2.0, "answered")) == []
    assert len(heard(STEP, PROMPT, PromptEnded(2.0, "answered"), read(Verdict.OUTSIDE))) == 2
    assert len(heard(STEP, PROMPT, PromptEnded(2.0, "refused"), read(Verdict.VOID))) == 3
    assert len(heard(STEP, PROMPT, TAKEN, replace(STEP, step="line D0"), read(Verdict.OUTSIDE))) == 1


def test_an_alarm_goes_before_all_else() -> None:
    """What was still to be rung is dropped, what comes after it is not added, the end of the run included."""
    assert len(heard(STEP, PROMPT, TAKEN, read(Verdict.VOID), ALARM)) == 5
    assert len(heard(STEP, PROMPT, ALARM, TAKEN, read(Verdict.VOID), ENDED)) == 5
    assert len(heard(Notice(1.0, "no answer"), STEP)) == 0


def test_a_round_without_prompts_rings_once_at_an_alarm() -> None:
    """On a fixture nobody counts strokes: one at an alarm."""
    assert len(heard(STEP, ALARM)) == 1


def test_a_new_touch_silences_the_one_before() -> None:
    """However fast touches follow, strokes never pile up: those still to come would be taken for the new one's."""
    assert len(heard(*[STEP, PROMPT, TAKEN, read(Verdict.VOID)] * 20)) == 1 + 3


def test_silent_where_it_is_not_wanted() -> None:
    """No stroke at all."""
    assert heard(STEP, PROMPT, TAKEN, read(Verdict.VOID), ALARM, ENDED, wanted=False) == []
