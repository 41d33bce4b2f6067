"""Rounds with tips held by hand on the simulated bench, where the simulated person does what the prompts say."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from autobench import app
from autobench.errors import UsageError
from autobench.events import Prompted
from autobench.judgement.reading import Reading
from autobench.record.log import read_events
from autobench.record.store import open_engine
from autobench.views.run_state import RunState
from tests.run.bystanders import Operator, job


def named(state: RunState, step: str) -> Reading:
    """The first reading of a step."""
    return next(reading for reading in state.readings if reading.step == step)


def verdict(state: RunState) -> str:
    """The board's verdict."""
    assert state.ended is not None
    return state.ended.verdict


def test_each_point_is_asked_for_with_all_a_person_needs(tmp_path: Path) -> None:
    """Part, pin, side, row and place (numbering of dual-in-line packages: IEC 60191, from memory), what is expected."""
    operator = Operator()
    state = job(tmp_path, operator, "rail +5V far")
    asked = next(prompt for prompt in operator.prompts if prompt.place and prompt.place.point == "U18.8")
    assert asked.kind == "clip"  # from before power-on; the meter comes later
    meter = next(p for p in operator.prompts if p.place and p.place.tip == "meter" and p.place.point == "U18.8")
    place = meter.place
    assert place is not None
    assert (place.part, place.pin, place.against) == ("U18, ram", "8", "U18.16")
    assert place.where == "component side, notch up: left row, 8th from the top"
    assert place.expected == "4.600 V .. 5.200 V"
    assert "U18.8" in meter.words
    assert "U18.16" in meter.words
    assert named(state, "rail +5V far").verdict == "within"
    assert verdict(state) == "good"


def test_a_tip_that_never_touches_is_void_and_never_a_dead_rail(tmp_path: Path) -> None:
    """Enter without any contact takes nothing: the reading is void, in words, and the board is undecided."""
    operator = Operator(tired=("enter",), patience=3.0)
    state = job(tmp_path, operator, "rail +5V far", faults=["probe-not-touching@U18.8"])
    reading = named(state, "rail +5V far")
    assert reading.verdict == "void"
    assert "touches U18.8" in (reading.reason or "")
    assert verdict(state) == "undecided"


def at(prompt: Prompted, point: str, tip: str) -> bool:
    """Whether a prompt wants that tip at that point."""
    return prompt.place is not None and prompt.place.point == point and prompt.place.tip == tip


def test_a_tip_that_slips_off_is_asked_for_again(tmp_path: Path) -> None:
    """The first try misses and the second slips off within 300 ms: only the third, which holds, is taken."""
    operator = Operator(lambda prompt, times: [], tired=("again",), patience=4.0)
    state = job(tmp_path, operator, "rail +5V cpu", faults=["probe-not-touching@U1.11"])
    tries = [prompt for prompt in operator.prompts if at(prompt, "U1.11", "meter")]
    assert len(tries) == 3
    assert named(state, "rail +5V cpu").verdict == "within"
    assert verdict(state) == "good"


def test_back_takes_the_point_before_once_more(tmp_path: Path) -> None:
    """What the step said before no longer counts, and stays in the log."""
    operator = Operator(lambda prompt, times: ["back"] if at(prompt, "U1.11", "meter") and times == 0 else ())
    state = job(tmp_path, operator, "rail +5V switch", "rail +5V cpu")
    meter = [prompt.place.point for prompt in operator.prompts if prompt.place and prompt.place.tip == "meter"]
    assert meter == ["J1.1", "SW1.2", "U1.11", "SW1.2", "U1.11"]
    assert operator.again == ["rail +5V switch"]
    assert [reading.step for reading in state.readings].count("rail +5V switch") == 1
    engine = open_engine(str(tmp_path / "record.sqlite"))
    assert state.started is not None
    log = [type(event).__name__ for event in read_events(engine, state.started.run)]
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT step FROM readings").scalars().all()
    engine.dispose()
    assert log.count("ReadingTaken") == len(rows) + 1
    assert rows.count("rail +5V switch") == 1


def test_back_goes_no_further_than_the_last_change_of_power(tmp_path: Path) -> None:
    """A point from before power-on is not asked for on a live board."""
    operator = Operator(lambda prompt, times: ["back"] if at(prompt, "SW1.2", "meter") and times < 2 else ())
    state = job(tmp_path, operator, "rail +5V switch")
    assert operator.again == []
    assert any("no further back" in notice.words for notice in state.notices)
    assert verdict(state) == "good"


def test_a_point_is_left_out_with_a_typed_reason(tmp_path: Path) -> None:
    """The reading is skipped with the words of the operator, and the board undecided."""

    def answer(prompt: Prompted, _: int) -> Sequence[str]:
        if prompt.kind == "reason":
            return [*"cablex", "erase", "enter"]
        return ["skip"] if at(prompt, "U1.11", "meter") else ()

    state = job(tmp_path, Operator(answer), "rail +5V cpu", "rail +5V far")
    reading = named(state, "rail +5V cpu")
    assert (reading.verdict, reading.reason) == ("skipped", "left out by the operator: cable")
    assert named(state, "rail +5V far").verdict == "within"
    assert verdict(state) == "undecided"


def test_the_off_key_ends_the_run_with_everything_off(tmp_path: Path) -> None:
    """In the middle of a live round: off, proved, stopped, and what was taken is kept."""
    operator = Operator(lambda prompt, times: ["off"] if at(prompt, "U18.8", "meter") else ())
    state = job(tmp_path, operator, "rails")
    assert verdict(state) == "stopped"
    assert state.ended is not None
    assert "off key" in (state.ended.reason or "")
    assert dict(state.outputs)["+5V"].state in ("settled", "off")
    assert named(state, "rail +5V cpu").verdict == "within"


def test_power_wants_a_key_within_ten_seconds(tmp_path: Path) -> None:
    """Nobody presses it: nothing is switched on, and the board is undecided, not faulty."""
    operator = Operator(lambda prompt, times: ["x"] if prompt.kind == "power" else (), patience=60.0)
    state = job(tmp_path, operator, "rail +5V far")
    assert verdict(state) == "undecided"
    assert "nobody pressed the key" in (named(state, "rail +5V far").reason or "")
    assert [end.how for end in operator.ends][-1] == "refused"


def test_a_low_line_is_believed_when_the_meter_shows_it_too(tmp_path: Path) -> None:
    """The probe shows 0 V, as one in the air does; the meter at the same point shows a contact and a low."""
    operator = Operator()
    state = job(tmp_path, operator, "bus", faults=["data-line-short"])
    # Lines that the CPU itself drives low stand a little higher, and need no proof of a contact.
    low = next(reading for reading in state.readings if reading.state == "low" and (reading.net or "").startswith("D"))
    assert low.verdict == "outside"
    assert any(at(prompt, low.point or "", "meter") for prompt in operator.prompts)
    assert verdict(state) == "faulty"


def test_a_probe_in_the_air_is_no_stuck_line(tmp_path: Path) -> None:
    """The probe at U1.27 never touches, and neither does the meter: void, not a dead fetch strobe."""
    operator = Operator(tired=("enter",), patience=1.0)
    state = job(tmp_path, operator, "line FETCH", faults=["probe-not-touching@U1.27"])
    reading = named(state, "line FETCH")
    assert reading.verdict in ("void", "within")  # the third touch of the point holds
    assert verdict(state) != "faulty"


def test_an_open_rail_is_only_believed_after_the_tips_were_tried(tmp_path: Path) -> None:
    """Open between the tips: they are tried on each other, the person says so, and the polarity probe shows that they
    touch: only then is the rail open."""
    operator = Operator(tired=("enter",), patience=3.0)
    state = job(tmp_path, operator, "ohms", faults=["inlet-open"])
    kinds = [prompt.kind for prompt in operator.prompts]
    assert "together" in kinds
    assert named(state, "ohms +5V").verdict == "void"  # until volts at the same tips show that they touch
    opened = next(reading for reading in state.readings if reading.step == "polarity +5V" and reading.unit == "ohm")
    assert opened.verdict == "outside"
    assert verdict(state) == "faulty"


def test_after_a_gate_failed_nobody_is_asked_for_more(tmp_path: Path) -> None:
    """A dead clock makes later readings count for nothing: a person is not sent to thirty pins for that."""
    operator = Operator()
    state = job(tmp_path, operator, faults=["master-clock-dead"])
    assert named(state, "line FETCH").verdict == "skipped"
    assert "clocks failed" in (named(state, "line FETCH").reason or "")
    assert "U1.27" not in operator.points()
    assert verdict(state) == "faulty"


def test_a_bench_that_needs_a_person_refuses_to_run_without_one(tmp_path: Path) -> None:
    """It never answers a question of polarity or first power by itself: nothing is opened."""
    request = app.CheckRequest("tarnbeck-8", bench="hand", unattended=True, records=str(tmp_path / "record.sqlite"))
    with pytest.raises(UsageError, match="needs a person"):
        app.check(request)
    assert not (tmp_path / "record.sqlite").exists()


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_the_first_part_of_a_round_with_a_supply_worked_by_hand(board: str, tmp_path: Path) -> None:
    """Set and read back at the plug, plugged in with it off, on and off proved by the meter; then the board is good."""
    typed = {"+5V": "0.78" if board == "tarnbeck-8" else "1.10", "+12V": "0.06"}

    def answer(prompt: Prompted, _: int) -> Sequence[str]:
        return [*typed[prompt.rail or ""], "enter"] if prompt.kind == "number" else ()

    operator = Operator(answer)
    state = job(tmp_path, operator, "power", "rail +5V far", board=board, bench="hand-supply")
    assert verdict(state) == "good"
    assert named(state, "polarity +5V").value == pytest.approx(5.0, rel=0.01)  # within 1 % of what was asked for
    assert {dict(state.outputs)[rail].state for rail in dict(state.outputs)} == {"settled"}
    kinds = [(prompt.kind, prompt.on) for prompt in operator.prompts if prompt.rail == "+5V"]
    assert kinds.index(("plug", False)) < kinds.index(("switch", True)) < kinds.index(("plug", True))


@pytest.mark.long
@pytest.mark.parametrize("fault", ["cpu-dead", "rom-not-driving", "decoder-dead", "video-controller-dead"])
def test_the_circle_is_told_apart_by_hand_too(fault: str, tmp_path: Path) -> None:
    """The same sequence by hand on pellin-600: faulty, and the part is first or in the stated group."""
    state = job(tmp_path, Operator(), board="pellin-600", faults=[fault])
    assert verdict(state) == "faulty"
    part = {"cpu-dead": "U1", "rom-not-driving": "U3", "decoder-dead": "U6", "video-controller-dead": "U5"}[fault]
    assert part in (state.diagnosis.suspects[0].part, *state.diagnosis.group)
