"""Board faults: where they can be and what they do to a board."""

from __future__ import annotations

import pytest

from simulated_instruments.board.assembly import assemble
from simulated_instruments.board.board import Board
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.faults import board_fault_places, damage
from simulated_instruments.board.sources import LimitedSource
from simulated_instruments.board.tolerance import Tolerance

CIRCUIT = read_circuit(circuit_path("tarnbeck-8"))
PLACES = {(place.fault, place.part): place for place in board_fault_places(CIRCUIT)}


def on_the_bench(fault: str, part: str, seed: int, volts: float, limit: float, video: str = "late") -> dict[str, float]:
    """Inlet volts, current and far volts of a faulty board two seconds after switching on."""
    assembly = assemble(CIRCUIT, {"video": video}, Tolerance(seed))
    damage(assembly, PLACES[fault, part])
    rail, points = CIRCUIT.rails["+5V"], CIRCUIT.points()
    source = LimitedSource("supply", rail.inlet, rail.ground, 0.005, rise=0.010)
    board = Board(assembly, [], [source], 0.0)
    board.change(0.0)
    source.connect(0.0, True)
    source.set(0.0, volts, limit)
    board.changed()
    return {
        "inlet": board.volts(2.0, rail.inlet, rail.ground),
        "amps": board.amps(2.0, source),
        "far": board.volts(2.0, points["U18.8"], points["U18.16"]),
    }


def test_the_places_are_those_of_the_catalogue_and_each_has_words() -> None:
    """Shorts at every capacitor, opens and bad contacts at inlet and switch; part, net and a sentence for each."""
    assert {part for fault, part in PLACES if fault == "decoupler-short"} == {f"C{n}" for n in range(1, 21)}
    assert {part for fault, part in PLACES if fault == "inlet-open"} == {"J1", "SW1"}
    assert {part for fault, part in PLACES if fault == "connector-resistance"} == {"J1", "SW1"}
    supply = [
        place for place in PLACES.values() if place.fault in ("decoupler-short", "inlet-open", "connector-resistance")
    ]
    assert all(place.net == "+5V" for place in supply)
    assert all(place.kind == "board" for place in PLACES.values())
    assert all(place.part in place.words for place in PLACES.values())
    assert len({place.fault for place in PLACES.values()}) == 41  # what this board has the parts for


@pytest.mark.parametrize("part", ["C1", "C2", "C10", "C12", "C16", "C20"])
@pytest.mark.parametrize("seed", range(6))
def test_a_shorted_capacitor_is_less_than_an_ohm_from_the_inlet(part: str, seed: int) -> None:
    """10 mA into the inlet raise less than 10 mV, and more than the copper alone would."""
    found = on_the_bench("decoupler-short", part, seed, 0.5, 0.010)
    assert 0.05 < found["inlet"] / found["amps"] < 1.0  # Ohm's law


def test_a_shorted_capacitor_holds_the_supply_at_its_limit() -> None:
    """At full voltage the supply sits at its limit and the rail far below anything that works."""
    found = on_the_bench("decoupler-short", "C8", 2, 5.0, 1.0)
    assert found["amps"] == pytest.approx(1.0, abs=1e-9)
    assert 0.1 < found["inlet"] < 1.2


@pytest.mark.parametrize("part", ["J1", "SW1"])
def test_an_open_inlet_draws_nothing(part: str) -> None:
    """The inlet has its 5 V, no current flows and nothing behind it has volts."""
    found = on_the_bench("inlet-open", part, 1, 5.0, 2.0)
    assert found["inlet"] == pytest.approx(5.0, abs=1e-3)
    assert abs(found["amps"]) < 1e-6
    assert abs(found["far"]) < 1e-3


@pytest.mark.parametrize("part", ["J1", "SW1"])
@pytest.mark.parametrize("video", ["late", "early"])
def test_a_worn_contact_starves_the_far_end(part: str, video: str) -> None:
    """Whatever the specimen, the far point is below 4.6 V and the board draws a little less than a healthy one."""
    for seed in range(6):
        found = on_the_bench("connector-resistance", part, seed, 5.0, 2.0, video)
        assert 3.8 < found["far"] < 4.6
        assert found["amps"] < 1.02 * {"late": 0.78, "early": 0.98}[video]


def test_the_seed_decides_how_bad_a_fault_is() -> None:
    """The same fault on two specimens has two values."""
    first, second = (on_the_bench("decoupler-short", "C5", seed, 0.5, 0.01)["inlet"] for seed in (1, 2))
    assert first != second
