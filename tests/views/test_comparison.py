"""Two runs side by side: what counts as failed, as moved, and what may be said of a repair."""

from __future__ import annotations

from dataclasses import replace

import pytest

from autobench.events import RunEnded, RunStarted
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.comparison import Now, RepairVerdict, Why, compare
from autobench.views.comparison_text import comparison_document, comparison_lines
from autobench.views.run_state import RunState

STARTED = RunStarted(
    at=0.0,
    run="r1",
    board="tarnbeck-8",
    serial="A7",
    options={"video": "late"},
    sequence="baseline",
    bench="simulated",
    simulated=True,
    operator=None,
    steps=(),
    instruments={},
    files={},
    started="2026-01-02T03:04:05.000+00:00",
)


def volts(value: float | None, verdict: str = "within", net: str = "+5V", **changed: object) -> Reading:
    """A rail's reading with U (k = 2) of 2 mV, limits 4.6 V to 5.2 V."""
    reading = Reading(
        step=f"rail {net}",
        stage="rails",
        net=net,
        point="U18.8",
        quantity="voltage",
        value=value,
        unit="V",
        uncertainty=None if value is None else 0.001,
        low=4.6,
        high=5.2,
        limit_from="board file",
        verdict=Verdict(verdict),
    )
    return replace(reading, **changed)  # type: ignore[arg-type]


def line(state: str | None, verdict: str = "within", net: str = "FETCH", **changed: object) -> Reading:
    """A line's rate."""
    value = None if state is None else 5e5 if state in ("moving", "burst") else 0.0
    reading = Reading(
        step=f"line {net}",
        stage="cpu",
        net=net,
        point="U1.27",
        quantity="rate",
        value=value,
        unit="Hz",
        uncertainty=100.0,
        low=None,
        high=None,
        limit_from="board file",
        verdict=Verdict(verdict),
        state=state,
    )
    return replace(reading, **changed)  # type: ignore[arg-type]


def amps(value: float) -> Reading:
    """The supply current with U (k = 2) of 6 mA."""
    return volts(
        value, step="current +5V", stage="power", quantity="current", unit="A", uncertainty=0.003, low=0.5, high=1.0
    )


def run(*readings: Reading, verdict: str | None = None, **changed: object) -> RunState:
    """A run of these readings, with the verdict they make up unless said."""
    found = verdict or ("faulty" if any(r.verdict == "outside" and not r.conditional for r in readings) else "good")
    ended = RunEnded(9.0, found, None, 9.0)
    return RunState(started=replace(STARTED, **changed), readings=readings, ended=ended)  # type: ignore[arg-type]


DEAD = line("high", "outside")
ALIVE = line("moving")


def test_what_failed_and_is_within_now_is_cured() -> None:
    """The plain case, with the words for it."""
    found = compare(run(volts(4.9), DEAD), run(volts(4.9), ALIVE), ["U1 swapped"])
    assert (found.verdict, found.words) == (RepairVerdict.CURED, "cured: what failed is as it should be")
    assert [(item.pair.name, item.now) for item in found.failed] == [("line FETCH [U1.27]", Now.CURED)]
    assert (found.moved, found.better, found.options, found.limits) == ((), (), (), ())
    assert "done:   U1 swapped" in comparison_lines(found)


def test_one_point_that_still_fails_is_not_cured() -> None:
    """Nine mended lines do not make up for the tenth, which is named."""
    found = compare(run(DEAD, line("low", "outside", "RD")), run(ALIVE, line("low", "outside", "RD")))
    assert found.verdict == RepairVerdict.NOT_CURED
    assert found.words == "not cured: line RD [U1.27] still fails"


@pytest.mark.parametrize("verdict", ["marginal", "void", "skipped"])
def test_a_point_that_cannot_be_judged_now_proves_nothing(verdict: str) -> None:
    """Void, skipped and marginal are no cure, nor is a point that was not read again."""
    now = line(None if verdict != "marginal" else "moving", verdict)
    for after in (run(now, verdict="undecided"), run(volts(4.9), verdict="good")):
        found = compare(run(DEAD), after)
        assert found.verdict == RepairVerdict.CANNOT_TELL
        assert "line FETCH [U1.27] failed before and could not be judged now" in found.words


def test_a_level_that_is_no_longer_read_because_the_line_moves_is_no_gap() -> None:
    """The level of a line belongs to a line that stands still."""
    level = line("low", "outside", quantity="level", unit="V", required=False)
    assert compare(run(DEAD, level), run(ALIVE)).verdict == RepairVerdict.CURED
    assert compare(run(DEAD, level), run(line("low", "void"), verdict="undecided")).verdict == RepairVerdict.CANNOT_TELL


def test_a_conditional_failure_counts_as_failed_and_a_conditional_success_as_nothing() -> None:
    """What failed behind a gate must be good once the gate is; what is read behind a gate proves no cure."""
    behind = replace(DEAD, conditional=True)
    rail = volts(4.1, "outside")
    assert compare(run(rail, behind), run(volts(4.9), ALIVE)).verdict == RepairVerdict.CURED
    later = run(volts(4.9), volts(1.0, "outside", "-5V"), replace(ALIVE, conditional=True))
    assert compare(run(DEAD, volts(4.9)), later).verdict == RepairVerdict.CANNOT_TELL


def test_wider_limits_cure_nothing() -> None:
    """A value that would have failed by the old limits is not cured by new ones, and the limits are shown."""
    found = compare(run(volts(4.5, "outside")), run(volts(4.5, low=4.4)))
    assert found.verdict == RepairVerdict.CANNOT_TELL
    assert [pair.name for pair in found.limits] == ["rail +5V [U18.8]"]
    assert "  limits of rail +5V [U18.8]: 4.6 .. 5.2 V, now 4.4 .. 5.2 V" in comparison_lines(found)


@pytest.mark.parametrize(("after", "moved"), [(4.9028, 0), (4.9029, 1)])
def test_a_value_has_moved_beyond_its_combined_uncertainty(after: float, moved: int) -> None:
    """Two readings of u = 1 mV differ when they are 2·√2 mV apart (GUM 5.1.2, k = 2)."""
    found = compare(run(volts(4.9), DEAD), run(volts(after), ALIVE))
    assert len(found.moved) == moved
    assert found.verdict == RepairVerdict.CURED  # most of its room to the limits is left


def test_an_untouched_point_that_lost_most_of_its_room_spoils_the_cure() -> None:
    """A rail that fell from the middle of its limits to their edge is named, although it is within."""
    found = compare(run(volts(4.9), DEAD), run(volts(4.65), ALIVE))
    assert (found.verdict, found.words) == (RepairVerdict.CURED_BUT, "cured, but rail +5V [U18.8] moved")
    assert [(item.pair.name, item.why) for item in found.moved] == [("rail +5V [U18.8]", None)]


def test_rails_follow_the_current_of_a_board_that_works_again() -> None:
    """The same fall beside a current that rose is the load's doing; a worse verdict is never excused."""
    before, after = run(amps(0.7), volts(4.9), DEAD), run(amps(0.8), volts(4.65), ALIVE)
    found = compare(before, after)
    assert found.verdict == RepairVerdict.CURED
    assert {item.why for item in found.moved} == {Why.LOAD}
    worse = compare(before, run(amps(0.8), volts(4.601, "marginal"), ALIVE, verdict="undecided"))
    assert worse.words == "cured, but rail +5V [U18.8] moved"


def test_a_line_is_compared_by_its_state() -> None:
    """Another rate of a moving line and bursts are the program's; a line that stands still now has moved."""
    other = line("moving", net="RD")
    same = compare(run(other, volts(4.1, "outside")), run(replace(other, value=9e5, state="burst"), volts(4.9)))
    assert (same.moved, same.verdict) == ((), RepairVerdict.CURED)
    still = compare(run(other, volts(4.1, "outside")), run(line("high", net="RD"), volts(4.9)))
    assert still.words == "cured, but line RD [U1.27] moved"
    ran_badly = compare(run(line("high", net="HALT"), DEAD), run(line("moving", net="HALT"), ALIVE))
    assert [item.why for item in ran_badly.moved] == [Why.RUNS]


def test_damage_by_the_repair_is_named() -> None:
    """A line that was good and fails now is the repair's doing."""
    found = compare(run(DEAD, line("moving", net="D3")), run(ALIVE, line("low", "outside", "D3")))
    assert found.words == "cured, but line D3 [U1.27] moved"


def test_a_second_fault_behind_the_first_is_not_cured() -> None:
    """What could not be judged before and fails now shows that the board has another fault."""
    hidden = replace(line("low", "void", "D3"), state=None, value=None)
    found = compare(run(DEAD, hidden), run(ALIVE, line("low", "outside", "D3")))
    assert found.verdict == RepairVerdict.NOT_CURED
    assert "line D3 [U1.27] fails, which could not be judged before" in found.words


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (run(ALIVE), run(ALIVE), "nothing was outside its limits in the earlier run"),
        (run(DEAD), run(ALIVE, serial="B1"), "these are runs of two boards"),
        (run(DEAD), run(ALIVE, simulated=False), "one of the runs is simulated and the other is not"),
        (run(DEAD), run(ALIVE, verdict="stopped"), "the later run was stopped"),
        (run(DEAD), run(ALIVE, verdict="undecided"), "what failed is as it should be, but the round is not"),
    ],
)
def test_runs_that_prove_nothing_say_why(before: RunState, after: RunState, words: str) -> None:
    """No verdict without a ground for it."""
    found = compare(before, after)
    assert found.verdict == RepairVerdict.CANNOT_TELL
    assert words in found.words


def test_options_that_differ_are_shown() -> None:
    """Another video chip declared, an option nobody spoke of before."""
    found = compare(run(DEAD), run(ALIVE, options={"video": "early", "power": "bench"}))
    assert found.options == (("video", "late", "early"), ("power", "not said", "bench"))
    assert "  option video: late, now early" in comparison_lines(found)


def test_what_could_not_be_called_and_is_inside_now_is_better() -> None:
    """Marginal and skipped before, within now: shown, and no movement."""
    before = run(volts(4.6, "marginal"), line(None, "skipped", "WR"), DEAD)
    found = compare(before, run(volts(4.9), line("moving", net="WR"), ALIVE))
    assert [pair.name for pair in found.better] == ["rail +5V [U18.8]", "line WR [U1.27]"]
    assert (found.moved, found.verdict) == ((), RepairVerdict.CURED)


def test_readings_taken_several_times_are_paired_in_order() -> None:
    """The second of two equal steps is compared with the second."""
    found = compare(run(DEAD, volts(4.9), volts(4.8)), run(ALIVE, volts(4.9), volts(4.7)))
    assert [item.pair.before.value for item in found.moved if item.pair.before] == [4.8]


def test_two_types_of_board_are_not_compared() -> None:
    """Their points have nothing to do with each other."""
    with pytest.raises(ValueError, match="one board type"):
        compare(run(DEAD), run(ALIVE, board="pellin-600"))


def test_the_document_has_both_sides_of_every_reading() -> None:
    """The same readings as in the documents of the runs, and plain words for the verdict."""
    document = comparison_document(compare(run(volts(4.9), DEAD), run(volts(4.65), ALIVE)))
    assert document["verdict"] == "cured, but moved"
    assert document["failed"][0]["before"]["state"] == "high"
    assert document["failed"][0]["after"]["state"] == "moving"
    assert document["failed"][0]["now"] == "as it should be"
    assert document["moved"][0]["no_concern"] is None
    assert (document["before"]["verdict"], document["after"]["verdict"]) == ("faulty", "good")
