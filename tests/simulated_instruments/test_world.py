"""Board and bench together, seen through the terminals that instruments get."""

from __future__ import annotations

import pytest

from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.wiring import read_wiring
from simulated_instruments.board.assembly import assemble
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.faults import board_fault_places, damage
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.terminals import MeterTerminals, OutputSetting, RelayTerminals, SupplyTerminals
from simulated_instruments.world import MeterSockets, RelayContacts, SupplySockets, World

CIRCUIT = read_circuit(circuit_path("tarnbeck-8"))
OPEN_INPUT, TEN_MEGOHM = 1e10, 1e7


class Bench:
    """A world with its three terminals."""

    def __init__(self, seed: int = 1, fault: tuple[str, str] | None = None, bench: BenchDamage | None = None) -> None:
        assembly = assemble(CIRCUIT, {}, Tolerance(seed))
        for place in board_fault_places(CIRCUIT):
            if (place.fault, place.part) == fault:
                damage(assembly, place)
        self.clock = SimulatedClock()
        self.world = World(assembly, read_wiring(), "tarnbeck-8", self.clock, bench or BenchDamage())
        self.supply: SupplyTerminals = SupplySockets(self.world)
        self.meter: MeterTerminals = MeterSockets(self.world)
        self.relays: RelayTerminals = RelayContacts(self.world)

    def power(self, volts: float = 5.0, amps: float = 1.5, wait: float = 5.0) -> None:
        self.supply.apply(1, OutputSetting(True, volts, amps))
        self.clock.sleep(wait)

    def read(self, high: int, low: int, input_ohms: float = OPEN_INPUT, aperture: float = 0.02) -> float:
        self.relays.closed(frozenset({100 + high, 200 + low}))
        self.clock.sleep(0.05)
        return self.meter.volts(input_ohms, aperture)

    def ohms(self, high: int = 1, low: int = 2, wait: float = 2.0) -> float:
        self.relays.closed(frozenset({100 + high, 200 + low}))
        self.meter.drive(0.001, 8.0)
        self.clock.sleep(wait)
        volts = self.meter.volts(OPEN_INPUT, 0.02)
        self.meter.drive(0.0, 0.0)
        return volts / 0.001


def test_the_inlet_sees_the_supply_less_the_drop_of_the_leads() -> None:
    """What the supply shows and what the board gets differ by the current times the leads' 60 mΩ."""
    bench = Bench()
    bench.power()
    point = bench.supply.point(1)
    inlet = bench.read(1, 2)
    assert point.volts == pytest.approx(5.0 - 0.005 * point.amps, abs=1e-6)  # Ohm's law, 5 mΩ in the supply
    assert (point.volts - inlet) / point.amps == pytest.approx(0.060, abs=0.002)  # Ohm's law
    assert not point.limiting


def test_points_are_read_differentially_through_their_positions() -> None:
    """Switch, CPU and far point come out in order, and raising the supply by the drop makes the inlet 5 V."""
    bench = Bench()
    bench.power(volts=5.05)
    inlet, switch, cpu, far = bench.read(1, 2), bench.read(3, 2), bench.read(4, 5), bench.read(6, 7)
    assert inlet == pytest.approx(5.0, abs=0.01)
    assert inlet - switch == pytest.approx(0.07, abs=0.02)
    assert cpu == pytest.approx(4.80, abs=0.04)
    assert far == pytest.approx(4.70, abs=0.04)
    assert bench.read(2, 1) == pytest.approx(-inlet, abs=1e-4)


def test_a_supply_in_its_limit_says_so_and_gives_exactly_that() -> None:
    """With half the current the output is limiting at exactly its limit and below its voltage."""
    bench = Bench()
    bench.power(amps=0.4)
    point = bench.supply.point(1)
    assert point.limiting
    assert point.amps == pytest.approx(0.4, abs=1e-9)
    assert point.volts < 4.5
    bench.supply.apply(1, OutputSetting(True, 5.0, 1.5))
    bench.clock.sleep(3.0)
    assert not bench.supply.point(1).limiting


def test_an_output_that_feeds_nothing_has_only_its_own_voltage() -> None:
    """It rises within tens of milliseconds, draws nothing, and falls over seconds."""
    bench = Bench()
    bench.supply.apply(2, OutputSetting(True, 12.0, 1.0))
    bench.clock.sleep(0.1)
    assert bench.supply.point(2).volts == pytest.approx(12.0, abs=0.01)
    assert bench.supply.point(2).amps == 0.0
    bench.supply.apply(2, OutputSetting(False, 12.0, 1.0))
    bench.clock.sleep(0.2)
    assert bench.supply.point(2).volts > 6.0
    bench.clock.sleep(3.0)
    assert bench.supply.point(2).volts < 0.12


def test_the_ohms_of_an_unpowered_board_climb_while_its_capacitors_fill() -> None:
    """Early the reading is low, later it stands between 60 and 200 Ω plus two relay paths."""
    bench = Bench()
    early, late = bench.ohms(wait=0.03), Bench().ohms(wait=3.0)
    assert early < 0.5 * late
    assert 60.0 < late - 0.6 < 200.0


def test_a_short_and_an_open_inlet_show_in_ohms() -> None:
    """A shorted decoupler reads below an ohm beside the relay paths; an open inlet drives the meter to its end."""
    assert Bench(fault=("decoupler-short", "C7")).ohms() - 0.6 < 1.0
    assert Bench(fault=("inlet-open", "J1")).ohms() == pytest.approx(8000.0, rel=1e-3)  # 8 V of the source / 1 mA


def test_ohms_of_a_loop_through_the_relays_are_the_two_paths() -> None:
    """HI and LO on one point read the resistance of both closed paths."""
    assert Bench().ohms(high=1, low=1) == pytest.approx(0.6, abs=0.01)  # 2 × 0.3 Ω


def test_two_relays_closed_on_one_slot_join_their_points() -> None:
    """The meter then reads between the two points, and the paths bridge them."""
    bench = Bench()
    bench.power()
    inlet, far = bench.read(1, 2), bench.read(6, 2)
    bench.relays.closed(frozenset({101, 106, 202}))
    bench.clock.sleep(0.1)
    both = bench.meter.volts(OPEN_INPUT, 0.02)
    assert far < both < inlet
    bench.relays.closed(frozenset({202}))
    assert bench.read(6, 2) == pytest.approx(far, abs=1e-3)


def test_an_open_route_holds_its_volts_at_high_impedance_and_reads_nothing_at_ten_megohm() -> None:
    """The last volts stay and drift on an open input; 10 MΩ drain them; hum is a few millivolts and averages out."""
    bench = Bench()
    bench.power()
    inlet = bench.read(1, 2)
    bench.relays.closed(frozenset())
    bench.clock.sleep(0.1)
    assert bench.meter.volts(OPEN_INPUT, 0.02) == pytest.approx(inlet, abs=0.1)
    assert abs(bench.meter.volts(TEN_MEGOHM, 0.02)) < 0.001
    moments = []
    for _ in range(20):
        bench.clock.sleep(0.0013)
        moments.append(bench.meter.volts(TEN_MEGOHM, 0.0))
    assert 0.002 < max(moments) - min(moments) < 0.02
    bench.clock.sleep(60.0)
    assert bench.meter.volts(OPEN_INPUT, 0.02) < 0.5 * inlet


def test_the_key_names_what_is_connected() -> None:
    """Points of both inputs, or open."""
    bench = Bench()
    assert bench.meter.key() == "open to open"
    bench.relays.closed(frozenset({106, 207, 340}))
    assert bench.meter.key() == "U18.8 to U18.16"


def test_after_off_the_terminals_follow_the_board_down() -> None:
    """The output is off and isolated: no current, and the volts at its terminals are those the board still holds."""
    bench = Bench()
    bench.power()
    bench.supply.apply(1, OutputSetting(False, 5.0, 1.5))
    bench.clock.sleep(0.01)
    point = bench.supply.point(1)
    assert point.amps == 0.0
    assert 0.3 < point.volts < 3.0
    bench.clock.sleep(3.0)
    assert bench.supply.point(1).volts < 0.05
    assert bench.read(1, 2) < 0.05


def test_leads_the_wrong_way_round_turn_the_board_into_diodes() -> None:
    """A harmless 0.3 V show the wrong sign; 5 V sit at the limit with the substrate diodes conducting."""
    bench = Bench(bench=BenchDamage(reversed_leads=True))
    bench.power(volts=0.3, amps=0.05)
    assert bench.read(1, 2) == pytest.approx(-0.3, abs=0.02)
    bench.power(volts=5.0, amps=1.0)
    assert bench.supply.point(1).limiting
    assert -1.2 < bench.read(1, 2) < -0.6  # common practice: about one diode drop, and the copper's


def test_a_stuck_relay_does_not_follow_what_it_is_told() -> None:
    """Stuck open it leaves the route open; welded it joins its point to whatever else is closed."""
    stuck = Bench(bench=BenchDamage(stuck_open={101}))
    stuck.power()
    assert abs(stuck.read(1, 2, TEN_MEGOHM)) < 0.001
    welded = Bench(bench=BenchDamage(stuck_closed={106}))
    welded.power()
    welded.relays.closed(frozenset({202}))
    assert welded.meter.key() == "U18.8 to J1.2"


def test_the_truth_keeps_what_was_ever_on_and_the_most_volts() -> None:
    """Every setting under which an output was on is kept with its time, and the highest volts at the inlet."""
    bench = Bench()
    bench.power(volts=0.3, amps=0.05, wait=1.0)
    bench.supply.apply(1, OutputSetting(False, 0.3, 0.05))
    bench.clock.sleep(1.0)
    bench.power(volts=5.1, wait=1.0)
    bench.supply.apply(1, OutputSetting(False, 5.1, 1.5))
    bench.clock.sleep(5.0)
    truth = bench.world.truth()
    assert truth.ever_on == [(0.0, 1, 0.3), (2.0, 1, 5.1)]
    assert not truth.any_on
    assert 5.0 < truth.most_volts["+5V"] < 5.1
    assert truth.node_volts("U18.8") == truth.between("U18.8", "J1.2")
    assert truth.outputs[1].set_volts == 5.1


def test_readings_are_the_same_however_often_the_bench_is_asked() -> None:
    """Polling the supply between two readings changes no digit of them."""
    found = []
    for polls in (0, 25):
        bench = Bench(seed=9)
        bench.supply.apply(1, OutputSetting(True, 5.0, 1.5))
        for step in range(25):
            bench.clock.sleep(0.01)
            if step < polls:
                bench.supply.point(1)
                bench.meter.volts(OPEN_INPUT, 0.005)
        found.append((bench.read(6, 7), bench.ohms(4, 5, wait=0.1), bench.supply.point(1).amps))
    assert found[0] == found[1]


def test_a_whole_round_costs_few_steps() -> None:
    """Ohms, polarity, power, five polled seconds, forty readings and off: a few hundred solved steps, not thousands."""
    bench = Bench(seed=2)
    bench.ohms()
    bench.power(volts=0.3, amps=0.05, wait=0.3)
    bench.supply.apply(1, OutputSetting(False, 0.3, 0.05))
    bench.clock.sleep(0.5)
    bench.power(wait=0.0)
    for _ in range(20):
        bench.clock.sleep(0.25)
        bench.supply.point(1)
    for reading in range(40):
        bench.read(1 + reading % 7, 2)
    bench.supply.apply(1, OutputSetting(False, 5.0, 1.5))
    bench.clock.sleep(3.0)
    assert abs(bench.read(1, 2)) < 0.05
    assert bench.world.board.transient.solved < 400
