"""A near-short is followed at half a volt, with a typed reason and in no other case: by the simulator's truth.

1 ohm, 5 ohm and 0.5 V are the design's; what a rail reads is what the simulator's short gives with this seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from autobench import app
from autobench.errors import InterlockRefusedError, OutputNotOffError
from autobench.events import Event, Notice, Prompted, Truth
from autobench.judgement.reading import Reading
from autobench.run.injection import AMPS, VOLTS
from simulated_instruments.bench import SimulatedBench
from tests.run.bystanders import Operator
from tests.run.test_power import Stand

NEAR, DEAD = 3, 4  # seeds with which a shorted chip gives 1.4 ohm and 0.9 ohm
REASON = "warm spot"


class Follow:
    """The sequence on a board with a shorted chip; somebody who types `reason`, or nobody for None."""

    def __init__(
        self,
        folder: Path,
        monkeypatch: pytest.MonkeyPatch,
        reason: str | None,
        *,
        seed: int = NEAR,
        faults: Sequence[str] = ("chip-supply-short",),
    ) -> None:
        opened: list[SimulatedBench] = []
        open_simulation = app.open_simulation

        def caught(*arguments: object) -> SimulatedBench | None:
            bench = open_simulation(*arguments)  # type: ignore[arg-type]  # passed on as they came
            opened.extend([bench] if bench is not None else [])
            return bench

        monkeypatch.setattr(app, "open_simulation", caught)
        self.events: list[Event] = []
        keys = Operator(answer=lambda prompt, _: [*(reason or ""), "enter"] if prompt.kind == "reason" else ())
        request = app.CheckRequest(
            "tarnbeck-8",
            sequence="follow-a-short",
            records=str(folder / "r.sqlite"),
            unattended=reason is None,
            simulation=app.Simulation(faults=tuple(faults), seed=seed),
        )
        views = [self.events.append, keys.show]
        self.state = app.check(request, views, keys=None if reason is None else keys)
        self.changes = opened[0].world.changes
        (self.truth,) = [event for event in self.events if isinstance(event, Truth)]
        self.asked = [event for event in self.events if isinstance(event, Prompted)]

    def of(self, quantity: str) -> list[Reading]:
        return [reading for reading in self.state.readings if reading.quantity == quantity]

    @property
    def ever_on(self) -> bool:
        return any(change.on for change in self.changes)


def test_a_near_short_is_followed_with_half_a_volt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a reason: on with at most 0.5 V and 0.5 A, the volts of every place, off again; the reason is kept.

    Current and volts at the inlet agree with the ohms by Ohm's law, leads and instruments within a quarter.
    """
    done = Follow(tmp_path, monkeypatch, REASON)
    ons = [change for change in done.changes if change.on]
    assert ons
    assert all(change.volts <= 0.5 + 1e-9 and change.amps <= 0.5 + 1e-9 for change in ons)
    assert not any(done.truth.outputs.values())
    volts, (amps,) = done.of(VOLTS), done.of(AMPS)
    assert [reading.point for reading in volts] == ["J1.1", "SW1.2", "U1.11", "U18.8"]
    assert all(reading.value is not None and 0.0 <= reading.value <= 0.5 for reading in volts)
    (ohms,) = done.of("resistance")
    assert ohms.value is not None
    assert amps.value is not None
    assert volts[0].value == pytest.approx(amps.value * ohms.value, rel=0.25)
    assert {reading.reason for reading in volts} == {REASON}
    assert any(REASON in event.words for event in done.events if isinstance(event, Notice))
    assert done.state.ended is not None
    assert done.state.ended.verdict == "faulty"  # the ohms say so; what was followed decides nothing
    assert not any(reading.required for reading in (*volts, amps))


@pytest.mark.parametrize("reason", ["", "   ", None])
def test_without_a_reason_nothing_comes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reason: str | None) -> None:
    """An empty line, blanks, and nobody at all: left out with the reason why."""
    done = Follow(tmp_path, monkeypatch, reason)
    assert not done.ever_on
    (left_out,) = done.of(VOLTS)
    assert left_out.verdict == "skipped"
    assert "reason" in (left_out.reason or "")


def test_a_dead_short_has_no_override(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Under 1 ohm nobody is even asked."""
    done = Follow(tmp_path, monkeypatch, REASON, seed=DEAD)
    assert not done.ever_on
    assert done.asked == []
    assert any("dead short" in (reading.reason or "") for reading in done.state.readings)


def test_a_healthy_rail_gets_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing to follow: nobody is asked, nothing comes on, and no reading is made up."""
    done = Follow(tmp_path, monkeypatch, REASON, faults=())
    assert not done.ever_on
    assert done.asked == []
    assert done.of(VOLTS) == []
    assert done.state.ended is not None
    assert done.state.ended.verdict == "good"


def test_power_itself_wants_a_reason_and_a_near_short() -> None:
    """Whoever calls it: no reason, no injection; and a rail that passed its ohms, or failed them, gets none either."""
    stand = Stand()
    try:
        stand.power.make_off()
        stand.power.ohms_judged("+5V", True)
        with pytest.raises(InterlockRefusedError, match="injection refused"):
            stand.power.inject("+5V", REASON)
        stand.power.ohms_judged("+5V", False, near=True)
        with pytest.raises(InterlockRefusedError, match="wants a reason"):
            stand.power.inject("+5V", " ")
        assert stand.bench.truth().times_on == 0
        stand.power.inject("+5V", REASON)
        assert stand.bench.truth().times_on == 1
        stand.power.make_off()
        with pytest.raises(InterlockRefusedError, match="near-short"):
            stand.power.power_up()
    finally:
        stand.power.make_off()
        stand.opened.close()
        stand.bench.close()


# -- off is believed only when a measurement shows it, at low volts as well ------------------------------------------


@pytest.mark.parametrize("near", [True, False])
def test_an_off_that_is_ignored_at_low_volts_is_no_proof(near: bool) -> None:
    """After a probe of 0.3 V, or an injection of 0.5 V, less than half a volt proves nothing: the alarm is raised."""
    stand = Stand()
    supply = stand.bench.devices["supply"]
    try:
        stand.power.make_off()
        stand.power.ohms_judged("+5V", not near, near=near)
        if near:
            stand.power.inject("+5V", REASON)
        else:
            stand.power.probe_polarity("+5V")
        supply.ignores_off = True  # type: ignore[attr-defined]  # a switch of this one device
        with pytest.raises(OutputNotOffError):
            stand.power.make_off()
        assert stand.power.outputs["+5V"].interlock.state == "alarm"
    finally:
        supply.ignores_off = False  # type: ignore[attr-defined]
        stand.power.make_off()
        assert not stand.bench.truth().any_on
        stand.opened.close()
        stand.bench.close()


def test_a_shorted_rail_is_off_only_when_its_current_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    """In its limit into a short an output has hardly any volts: an OFF it ignores shows in its amps."""
    stand = Stand()
    supply = stand.bench.devices["supply"]
    try:
        stand.settle()
        stand.power.power_up()
        supply.ignores_off = True  # type: ignore[attr-defined]
        monkeypatch.setattr(
            "autobench.run.switching_off.volts_when_off", lambda *_arguments: 0.1
        )  # as a short would have it; the current is the simulator's own
        with pytest.raises(OutputNotOffError, match=r"still [0-9.]+ m?A"):
            stand.power.make_off()
    finally:
        monkeypatch.undo()
        supply.ignores_off = False  # type: ignore[attr-defined]
        stand.power.make_off()
        stand.opened.close()
        stand.bench.close()
