"""The sequences that ship: what each takes, its conditions and repeats, and that all end with everything off."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from autobench import app
from autobench.documents.places import list_boards, list_sequences
from autobench.events import Event, PowerChanged, ReadingTaken, StepTakenAgain
from autobench.views.run_state import RunState

WITH_A_BOARD = [name for name, _ in list_sequences() if name != "supply-alone"]
PROVED_OFF = ("off", "checked", "settled", "reversed", "refused", "stopped")  # states that carry no volts

Run = Callable[..., tuple[RunState, list[Event]]]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """One round with its events."""

    def done(sequence: str, board: str = "tarnbeck-8", *faults: str) -> tuple[RunState, list[Event]]:
        events: list[Event] = []
        request = app.CheckRequest(
            board,
            sequence=sequence,
            records=f"sqlite:///{tmp_path}/records.sqlite",
            unattended=True,
            simulation=app.Simulation(faults),
        )
        return app.check(request, [events.append]), events

    return done


def written(folder: Path, *lines: str) -> str:
    """A sequence of one's own."""
    path = folder / "own.yaml"
    path.write_text("\n".join(("sequence: own", "words: x", "steps:", *lines, "")), encoding="utf-8")
    return str(path)


def ends_off(events: list[Event]) -> bool:
    """Whether the last that was heard of every rail is that it is off, proved."""
    last = {event.rail: event.state for event in events if isinstance(event, PowerChanged)}
    return all(state in PROVED_OFF for state in last.values())


def verdicts(state: RunState) -> dict[str, str]:
    """Step to the verdict of its last reading."""
    return {reading.step: str(reading.verdict) for reading in state.readings}


@pytest.mark.long
@pytest.mark.parametrize("board", [name for name, _ in list_boards()])
@pytest.mark.parametrize("sequence", WITH_A_BOARD)
def test_every_sequence_on_every_board_ends_off(sequence: str, board: str, run: Run) -> None:
    """A healthy board is never faulty, whichever round it gets; where a person is asked nobody is there to answer."""
    state, events = run(sequence, board)
    assert state.ended is not None
    assert state.ended.verdict in ("good", "undecided")
    assert ends_off(events)


@pytest.mark.parametrize("sequence", ["rails", "clocks"])
def test_a_part_of_the_round_is_taken_from_the_baseline(sequence: str, run: Run) -> None:
    """Only the stages that are named, in the baseline's order, each step under the baseline's name."""
    state, events = run(sequence)
    stages = list(dict.fromkeys(reading.stage for reading in state.readings))
    wanted = ["ohms", "power", "rails", "clocks"]
    assert [stage for stage in wanted if stage in stages] == stages
    assert ("clocks" in stages) == (sequence == "clocks")
    assert state.ended is not None
    assert state.ended.verdict == "good"
    assert ends_off(events)


def test_first_power_goes_up_by_steps_until_the_board_has_enough(run: Run) -> None:
    """0.3 A limits a board that draws 0.78 A, so does 0.6 A; 1.0 A is enough and 1.5 A is never set."""
    state, events = run("first-power")
    on = [event for event in events if isinstance(event, PowerChanged) and event.state == "on"]
    assert list(dict.fromkeys(event.amps for event in on)) == [0.3, 0.6, 1.0]
    assert verdicts(state)["rail +5V far"] in ("within", "unusual")
    assert ends_off(events)


def test_first_power_of_a_shorted_board_stops_before_any_volts(run: Run) -> None:
    """The ohms gate refuses: nothing but ohms is measured, nothing is switched on, and no repeat goes on for ever."""
    state, events = run("first-power", "tarnbeck-8", "decoupler-short")
    assert not any(isinstance(event, PowerChanged) and event.state == "on" for event in events)
    assert state.ended is not None
    assert state.ended.verdict == "faulty"
    assert ends_off(events)


@pytest.mark.long
def test_after_a_repair_all_is_taken_cold_and_the_rest_warm(run: Run) -> None:
    """Ten minutes of work lie between; what is measured warm is captured anew, not remembered."""
    state, events = run("after-repair")
    found = verdicts(state)
    assert found["rail +5V far"] in ("within", "unusual")
    assert found["warm rail +5V far"] in ("within", "unusual")
    at = {event.reading.step: event.at for event in events if isinstance(event, ReadingTaken)}
    assert at["warm rail +5V far"] - at["rail +5V far"] > 600.0
    cold, warm = (
        next(reading.value for reading in state.readings if reading.step == f"{word}clock CPUCLK")
        for word in ("", "warm ")
    )
    assert cold != warm
    assert state.ended is not None
    assert state.ended.verdict == "good"


def test_a_step_whose_condition_is_not_met_is_skipped_and_decides_nothing(tmp_path: Path, run: Run) -> None:
    """Rails are within, so what is only taken if they are outside is skipped with the reason, and the board is good."""
    sequence = written(
        tmp_path,
        "  - {include: baseline, stages: 'ohms, power, rails', leave out: power off}",
        "  - {step: 'again {rail}', stage: power, measure: current, for each: rail, only if: {rails: outside void}}",
        "  - {step: 'once more {rail}', stage: power, measure: current, for each: rail,",
        "     only if: {'current {rail}': within unusual}}",
        "  - {step: power off, stage: power, power: off}",
    )
    state, _ = run(sequence)
    again = next(reading for reading in state.readings if reading.step == "again +5V")
    assert (str(again.verdict), again.required) == ("skipped", False)
    assert again.reason is not None
    assert again.reason.startswith("only taken if rails is outside or void; it was ")
    assert verdicts(state)["once more +5V"] == "within"
    assert state.ended is not None
    assert state.ended.verdict == "good"


def test_a_repeat_ends_with_its_time_and_the_last_turn_counts(tmp_path: Path, run: Run) -> None:
    """A current that stays within is read again every two seconds for ten: five turns more, one reading that counts."""
    sequence = written(
        tmp_path,
        "  - {include: baseline, stages: 'ohms, power', leave out: power off}",
        "  - {step: 'soak {rail}', stage: power, measure: current, for each: rail,",
        "     repeat: {until: outside void, every: 2 s, within: 10 s}}",
        "  - {step: power off, stage: power, power: off}",
    )
    state, events = run(sequence)
    again = [event for event in events if isinstance(event, StepTakenAgain)]
    assert 3 <= len(again) <= 5  # a turn takes some time itself
    taken = [event for event in events if isinstance(event, ReadingTaken) and event.reading.step == "soak +5V"]
    counting = [reading for reading in state.readings if reading.step == "soak +5V" and reading.quantity == "current"]
    assert len(counting) == 1
    assert len([event for event in taken if event.reading.quantity == "current"]) == len(again) + 1


def test_a_repeat_ends_as_soon_as_it_is_as_wanted(tmp_path: Path, run: Run) -> None:
    """What is within at once is taken once."""
    sequence = written(
        tmp_path,
        "  - {include: baseline, stages: 'ohms, power', leave out: power off}",
        "  - {step: 'soak {rail}', stage: power, measure: current, for each: rail,",
        "     repeat: {until: within, every: 2 s, within: 10 s}}",
        "  - {step: power off, stage: power, power: off}",
    )
    _, events = run(sequence)
    assert not any(isinstance(event, StepTakenAgain) for event in events)


def test_the_files_that_are_included_are_part_of_the_record(run: Run) -> None:
    """Whoever reads the run later can tell by its hash which baseline it was."""
    state, _ = run("rails")
    assert state.started is not None
    assert {Path(path).stem for path in state.started.files} >= {"rails", "baseline", "tarnbeck-8"}
