"""The owner's own supply by itself, on a dummy load, before it meets the board."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.documents.reading import read
from autobench.documents.sequence import Sequence
from autobench.errors import FileError
from autobench.views.run_state import RunState
from simulated_instruments.benches import person
from tests.run.bystanders import Operator


def alone(tmp_path: Path, bench: str = "hand-supply") -> tuple[RunState, Operator]:
    """One round of that sequence."""
    operator = Operator()
    request = app.CheckRequest("tarnbeck-8", bench=bench, sequence="supply-alone", records=str(tmp_path / "r.sqlite"))
    return app.check(request, [operator.show], keys=operator), operator


def test_a_good_supply_is_measured_without_and_with_its_load(tmp_path: Path) -> None:
    """Ohm's law: on the bench file's 5.6 ohm it gives 0.88 A, and its leads lose what that current loses in them."""
    state, operator = alone(tmp_path)
    free, loaded, ripple = state.readings
    assert state.ended is not None
    assert state.ended.verdict == "good"
    assert free.value is not None
    assert loaded.value is not None
    drawn = loaded.value / 5.6
    assert loaded.reason == f"{1e3 * drawn:.0f} mA drawn"
    # two leads of 1 m, 0.75 mm2 copper and 6.7 mohm contacts each (IEC 60228 class 5: 26 ohm/km), 5 mohm output
    assert free.value - loaded.value == pytest.approx(drawn * (2 * (0.026 + 0.0067) + 0.005), abs=0.03)
    assert ripple.quantity == "ripple"
    assert [prompt.kind for prompt in operator.prompts][:3] == ["plug", "switch", "touch"]


def test_every_output_is_proved_off_at_the_end(tmp_path: Path) -> None:
    """The tips saw the volts, then saw them gone, and the operator said that the switch is off."""
    state, operator = alone(tmp_path)
    assert dict(state.outputs)["+5V"].state == "off"
    assert operator.prompts[-1].kind == "switch"
    assert operator.prompts[-1].on is False


def test_a_supply_that_gives_too_much_never_meets_the_board(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """5.6 V where the board takes 5.25 V: outside, and no step of this sequence could power a board."""
    monkeypatch.setattr(person.SimulatedPerson, "_knob", lambda *_: 1.12)
    state, operator = alone(tmp_path)
    assert state.ended is not None
    assert state.ended.verdict == "faulty"
    assert state.readings[0].verdict == "outside"
    assert ("plug", True) not in [(prompt.kind, prompt.on) for prompt in operator.prompts]


def test_a_bench_with_its_own_supply_says_that_it_cannot(tmp_path: Path) -> None:
    """The bench's remote-controlled supply is not the owner's: skipped, with the way to do it."""
    state, _ = alone(tmp_path, bench="hand")
    assert {reading.verdict for reading in state.readings} == {"skipped"}
    assert "by hand" in (state.readings[0].reason or "")


def test_a_board_and_a_supply_by_itself_do_not_mix(tmp_path: Path) -> None:
    """A sequence that tests a plug has no step that powers or measures a board."""
    path = tmp_path / "mixed.yaml"
    path.write_text(
        "sequence: mixed\nwords: both\nsteps:\n  - {step: 'plug {rail}', stage: power, measure: plug, for each: rail}\n"
        "  - {step: power on, stage: power, power: on}\n",
        encoding="utf-8",
    )
    with pytest.raises(FileError, match="no step for a board"):
        read(path, Sequence)
