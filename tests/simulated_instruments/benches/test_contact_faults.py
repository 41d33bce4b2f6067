"""Bench faults of contacts: where they can be, and what the instruments of the fixture then read."""

from __future__ import annotations

import pytest

from autobench.errors import UsageError
from simulated_instruments.bench import SimulatedBench, list_boards, list_faults
from simulated_instruments.benches.faults import bench_fault_places
from simulated_instruments.benches.wiring import read_wiring
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.devices.terminals import OutputSetting

CONTACTS = ("probe-not-touching", "wrong-pin")
OPEN_INPUT, TEN_MEGOHM = 1e10, 1e7


def powered(*faults: str, seed: int = 1) -> SimulatedBench:
    """A running board on a damaged fixture."""
    bench = SimulatedBench.open("tarnbeck-8", faults=faults, seed=seed)
    bench.world.apply(1, OutputSetting(True, 5.0, 2.0))
    bench.clock.sleep(3.0)
    return bench


def volts(bench: SimulatedBench, position: int, input_ohms: float = TEN_MEGOHM) -> float:
    """What a voltmeter reads between a position and the inlet's ground."""
    bench.world.relays(frozenset({100 + position, 202}))
    bench.clock.sleep(0.1)
    return bench.world.meter_volts(input_ohms, 0.02)


@pytest.mark.parametrize("board", list_boards())
def test_contacts_can_fail_at_every_point_of_the_plate(board: str) -> None:
    """A pin can miss everywhere, and hit the pin beside it wherever there is one; the words name the point."""
    fixture = read_wiring().fixtures[board]
    places = {name: {place.part: place for place in list_faults(board) if place.fault == name} for name in CONTACTS}
    assert places["probe-not-touching"].keys() == fixture.keys()
    assert places["wrong-pin"].keys() < fixture.keys()
    if read_circuit(circuit_path(board)).logic_points().get("U1.27") == "FETCH":  # a board with a CPU of class R
        assert "J2.1" in places["wrong-pin"]
        assert places["wrong-pin"]["U1.27"].net == "FETCH"
        assert places["wrong-pin"]["U1.11"].net is None
    for found in places.values():
        assert all(part in place.words and place.kind == "bench" for part, place in found.items())


def test_a_hand_can_miss_any_point_of_the_circuit() -> None:
    """Without a plate all points are places, and none of the faults of relays is there."""
    circuit = read_circuit(circuit_path("tarnbeck-8"))
    places = bench_fault_places(read_wiring("hand"), "tarnbeck-8", circuit)
    missed = {place.part for place in places if place.fault == "probe-not-touching"}
    assert missed == circuit.points().keys() | circuit.logic_points().keys()
    assert "relay-stuck" not in {place.fault for place in places}
    knobs = bench_fault_places(read_wiring("hand-supply"), "tarnbeck-8", circuit)
    assert [place.part for place in knobs if place.fault == "instrument-unplugged"] == ["meter", "scope"]
    assert [place.part for place in knobs if place.fault == "leads-reversed"] == ["supply"]


def test_a_pin_that_does_not_touch_leaves_meter_and_scope_open() -> None:
    """The meter with 10 MΩ reads some millivolts, with more it keeps what it had; the scope shows hum, no rail."""
    bench = powered("probe-not-touching@U18.8")
    inlet = volts(bench, 1, OPEN_INPUT)
    assert inlet == pytest.approx(4.95, abs=0.05)
    assert volts(bench, 6, OPEN_INPUT) == pytest.approx(inlet, abs=0.15)  # common practice: last value held, drifting
    assert abs(volts(bench, 6)) < 0.01  # common practice: 0.00x V on an open lead through 10 MΩ
    assert bench.world.meter_key() == "open to J1.2"
    assert bench.world.probes is not None
    bench.world.relays(frozenset({306, 401}))
    assert [bench.world.probes.key(channel) for channel in (1, 2)] == ["open", "J1.1"]


def test_a_pin_on_its_neighbour_reads_the_neighbour() -> None:
    """The supply pin's position shows the data line beside it, and the point itself is not to be had."""
    sound, wrong = powered(), powered("wrong-pin@U1.11")
    beside = wrong.world.damage.wrong_pins["U1.11"]
    assert beside in ("U1.10", "U1.12")
    # Positions 34 and 30 of the plate are the pins 10 and 12: the same net at the same time, read at the right place.
    assert volts(wrong, 4) == volts(sound, {"U1.10": 34, "U1.12": 30}[beside])
    assert volts(sound, 4) == pytest.approx(4.80, abs=0.05)


def test_ground_beside_a_supply_pin_is_read_as_nothing() -> None:
    """A neighbour on a supply node is touched like any other: J1.1 beside J1.2 reads 0 V and 2 × 0.3 Ω."""
    bench = powered("wrong-pin@J1.1")
    assert volts(bench, 1) == pytest.approx(0.0, abs=1e-6)
    bench.world.drive(1e-3, 8.0)
    assert bench.world.meter_volts(OPEN_INPUT, 0.02) / 1e-3 == pytest.approx(0.6, abs=1e-3)  # Ohm's law, two paths


def test_without_a_place_the_seed_picks_a_point_that_is_measured() -> None:
    """Different seeds miss at different points; on a bench by hand too it is one of the usual ones."""
    usual = read_wiring().fixtures["tarnbeck-8"].keys()
    for wiring in ("fixture", "hand"):
        found = set[str]()
        for seed in range(8):
            bench = SimulatedBench.open("tarnbeck-8", faults=["probe-not-touching"], seed=seed, wiring=wiring)
            found |= bench.world.damage.not_touching
        assert len(found) > 2
        assert found <= usual


def test_a_point_without_a_neighbour_is_refused() -> None:
    """SW1.2 has pin 1 beside it, a point that the plate does not have is named as wrong."""
    with pytest.raises(UsageError, match="not a place for 'wrong-pin'"):
        SimulatedBench.open("tarnbeck-8", faults=["wrong-pin@U3.11"])
