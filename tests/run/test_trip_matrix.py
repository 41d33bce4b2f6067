"""What takes the rails of a live board down, by the simulator's truth: the three rails of orrin-tk, fed by the bench.

The matrix is common practice of the trade, as design and reference have it: bias lost: its partners off within 1 s; the
logic's rail above its trip: all off; below four fifths beside a higher rail for more than 2 s: all off; a current above
1.5 times a good board's for more than 3 s: off. Which rails and how many volts is the board file's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from autobench.errors import TrippedError
from autobench.events import Event, PowerChanged, StepStarted, Watched
from autobench.instruments import meter as meter_role
from autobench.plan.limits import Limits
from autobench.quantity import Span
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.devices.supply_output import SupplyOutput
from tests.run.rounds_with_events import Round
from tests.run.test_power import Stand
from tests.whole.kill_stand import First

BENCH_FED = {"power": "bench"}
LATER = ("clocks", "reset", "video", "cpu")  # stages
P5, P12, N5 = 1, 2, 3  # outputs of the simulated supply
POLL = 0.5  # s; the least that design asks of the watch: twice a second


def output_of(bench: SimulatedBench, number: int) -> SupplyOutput:
    supply: Any = bench.devices["supply"]
    found: SupplyOutput = supply.outputs[number]
    return found


def goes_off(output: SupplyOutput) -> None:
    """Somebody switches it off at the panel."""
    output.switch(False)


def turned_to(volts: float) -> Callable[[SupplyOutput], None]:
    """Somebody turns its knob, and its own trip does not work."""

    def turn(output: SupplyOutput) -> None:
        output.settings.trip_on_volts = False
        output.settings.volts = volts
        output.refresh()

    return turn


class Mishap:
    """Something that happens to one output when a step begins, and when that was."""

    def __init__(self, step: str, number: int, does: Callable[[SupplyOutput], None]) -> None:
        self.step, self.number, self.does = step, number, does
        self.at: float | None = None

    def __call__(self, event: Event, bench: SimulatedBench) -> None:
        if self.at is None and isinstance(event, StepStarted) and event.step == self.step:
            self.at = bench.clock.now()
            self.does(output_of(bench, self.number))


def after(folder: Path, monkeypatch: pytest.MonkeyPatch, mishap: Mishap) -> tuple[Round, float]:
    """A round with a mishap, which ended off, and when the mishap came."""
    done = Round(folder, monkeypatch, mishap, board="orrin-tk", options=BENCH_FED)
    assert mishap.at is not None
    assert not done.any_on
    return done, mishap.at


LONG = pytest.mark.long


@pytest.mark.parametrize(
    "step",
    ["rail +5V far", "sync", pytest.param("current +12V", marks=LONG), pytest.param("line FETCH", marks=LONG)],
)
def test_bias_lost_takes_its_partners_down_within_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Whatever is being measured then, with the meter, the supply or the scope; and +12 V goes first."""
    done, at = after(tmp_path, monkeypatch, Mishap(step, N5, goes_off))
    assert done.off_at(P12) - at <= 1.0
    assert done.off_at(P5) - at <= 1.0
    assert done.off_at(P12) <= done.off_at(P5)
    assert any("bias rail is lost" in (reading.reason or "") for reading in done.state.readings)


def test_too_many_volts_take_everything_down(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """+5 V above the 5.5 V of the board file's trip, in a supply whose own trip failed: all off within a second."""
    done, at = after(tmp_path, monkeypatch, Mishap("clock CLK10", P5, turned_to(5.7)))
    for number in (P5, P12, N5):
        assert done.off_at(number) - at <= 1.0
    assert any("over-voltage" in (reading.reason or "") for reading in done.state.readings)


def test_too_few_volts_beside_a_higher_rail_take_everything_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """+5 V at 3.9 V while +12 V is up: not at once, since a low rail is a reading, but within 2 s and a look."""
    done, at = after(tmp_path, monkeypatch, Mishap("clock CLK10", P5, turned_to(3.9)))
    for number in (P5, P12, N5):
        assert 2.0 < done.off_at(number) - at <= 2.0 + 2 * POLL
    assert any("while +12V is up" in (reading.reason or "") for reading in done.state.readings)


def lead_off(bench: SimulatedBench, number: int) -> None:
    """The lead of one output comes off: its own reading does not change."""
    board = bench.world.board
    board.change(bench.clock.now(), {f"lead from output {number} +": 1e9})
    board.changed()


def test_a_bias_that_is_lost_on_the_board_only_takes_its_partners_down(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lead of -5 V comes off: the supply sees nothing of it, the meter on the board does, and the reading stays."""
    fell: list[float] = []

    def deed(event: Event, bench: SimulatedBench) -> None:
        if isinstance(event, StepStarted) and event.step == "current +12V":
            lead_off(bench, N5)
        if isinstance(event, StepStarted) and event.step == "rail -5V far":
            fell.append(bench.clock.now())

    done = Round(tmp_path, monkeypatch, deed, board="orrin-tk", options=BENCH_FED)
    assert done.off_at(P12) - fell[0] <= 1.0
    assert not done.any_on
    seen = [reading for reading in done.state.readings if reading.step == "rail -5V far"]
    assert [reading.quantity for reading in seen] == ["voltage", "current"]
    assert "bias rail is lost" in (seen[1].reason or "")
    skipped = next(reading for reading in done.state.readings if reading.step == "rail +12V far")
    assert "switched off: -5V" in (skipped.reason or "")


def test_partners_wait_for_the_bias_on_the_board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The lead of -5 V comes off after its polarity was right: +5 V and +12 V never get their power."""

    def deed(event: Event, bench: SimulatedBench) -> None:
        if isinstance(event, StepStarted) and event.step == "power on":
            lead_off(bench, N5)

    done = Round(tmp_path, monkeypatch, deed, board="orrin-tk", options=BENCH_FED)
    assert max(change.volts for change in done.changes if change.on and change.output in (P5, P12)) <= 0.3
    assert not done.any_on
    assert any("bias rail is lost" in (reading.reason or "") for reading in done.state.readings)


@pytest.mark.long
def test_a_low_rail_that_has_no_higher_one_beside_it_stays_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """+12 V at 9 V: nothing is driven through junctions, so the round goes on, conditional."""
    mishap = Mishap("clock CLK10", P12, turned_to(9.0))
    done = Round(tmp_path, monkeypatch, mishap, board="orrin-tk", options=BENCH_FED, only=LATER)
    assert mishap.at is not None
    assert done.off_at(P12) - mishap.at > 2.0 + 2 * POLL
    assert not any(isinstance(event, PowerChanged) and event.state == "tripped" for event in done.events)
    assert not done.any_on


def test_too_much_current_for_three_seconds_goes_off() -> None:
    """A board that draws 1.5 times the most of a good one without limiting: on for 3 s, off a look later."""
    stand = Stand(current=Limits(Span(0.40, 0.45, "A"), "board file"))
    try:
        stand.settle()
        with pytest.raises(TrippedError, match="over-current"):
            stand.power.power_up()  # the board takes longer than that to settle
        ons = [change for change in stand.bench.truth().changes if change.on and change.volts > 1.0]
        off = [change.time for change in stand.bench.truth().changes if not change.on][-1]
        assert 3.0 < off - ons[0].time <= 3.0 + 2 * POLL
    finally:
        stand.opened.close()
        stand.bench.close()


@pytest.mark.parametrize(("board", "options"), [pytest.param("tarnbeck-8", {}, marks=LONG), ("orrin-tk", BENCH_FED)])
def test_every_live_rail_is_looked_at_twice_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, board: str, options: dict[str, str]
) -> None:
    """In the whole round, whatever is measured meanwhile."""
    done = Round(tmp_path, monkeypatch, lambda _event, _bench: None, board=board, options=options)
    for rail in {event.rail for event in done.events if isinstance(event, Watched)}:
        gaps = [late - early for early, late in pairwise(looks_at(rail, done.events)) if early and late]
        assert len(gaps) > 50
        assert max(gaps) <= POLL


def looks_at(rail: str, events: list[Event]) -> list[float | None]:
    """When a rail came on and was looked at, and None where it went off."""
    looks: list[float | None] = []
    for event in events:
        if isinstance(event, Watched) and event.rail == rail:
            looks.append(event.at)
        if isinstance(event, PowerChanged) and event.rail == rail:
            looks.append(event.at if event.state in ("on", "probing") else None)
    return looks


# -- off is told before anything else ---------------------------------------------------------------------------------


@pytest.fixture
def live() -> Any:
    stand = Stand()
    stand.settle()
    stand.power.power_up()
    yield stand
    stand.bench.devices["supply"].ignores_off = False  # type: ignore[attr-defined]  # a switch of this one device
    stand.opened.close()
    stand.bench.close()


def seconds_to_off(stand: Stand, at: float) -> float:
    offs = [change.time for change in stand.bench.truth().changes if not change.on]
    assert not stand.bench.truth().any_on
    return max(offs) - at


def test_a_meter_that_is_silent_does_not_hold_up_off(live: Stand) -> None:
    """OFF goes out before the meter is asked for anything; the proof is the supply's own reading then."""
    live.bench.unplug("meter")
    at = live.bench.clock.now()
    live.power.make_off()
    assert seconds_to_off(live, at) < 0.2


@pytest.mark.parametrize("times", [1, 2])
def test_an_off_that_was_ignored_is_sent_again_within_a_second(live: Stand, times: int) -> None:
    """A supply that ignores the first OFF, or two, is off within a second, long before the proof is given up."""
    live.bench.devices["supply"].ignores_off = First(times)  # type: ignore[attr-defined]
    at = live.bench.clock.now()
    live.power.make_off()
    assert seconds_to_off(live, at) < 1.0


def test_one_output_that_cannot_be_told_does_not_keep_the_next_on(live: Stand, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where telling one output ends in a defect of ours, every other is told; the defect is not hidden."""
    outputs = live.power.outputs
    outputs["+12V"] = replace(outputs["+5V"], feed=replace(outputs["+5V"].feed, rail="+12V", output=2))
    told: list[int] = []
    supply = live.opened.supplies["supply"]
    off = supply.off

    def tell(number: int) -> None:
        told.append(number)
        if number == 2:
            raise MemoryError
        off(number)

    monkeypatch.setattr(supply, "off", tell)
    with pytest.raises(MemoryError):
        live.power.make_off()
    assert 1 in told
    assert not live.bench.truth().any_on
    monkeypatch.setattr(supply, "off", off)
    outputs.pop("+12V")


def test_a_meter_left_on_ohms_is_at_rest_before_its_volts_prove_anything(live: Stand) -> None:
    """The proof is made with the meter on volts."""
    meter = live.opened.meters["meter"]
    meter.setting = meter_role.Setting("ohms", 100.0, 1.0)
    live.power.make_off()
    assert meter.setting.function == "volts"
