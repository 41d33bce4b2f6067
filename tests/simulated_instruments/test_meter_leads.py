"""The meter's ohms on nets that carry signals, through its relays and by hand: a dead line is not a tip in the air."""

from __future__ import annotations

import pytest

from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.wiring import read_wiring
from simulated_instruments.board.source_ohms import undriven_ohms
from simulated_instruments.devices.meter_input import COMPLIANCE, FUNCTIONS
from simulated_instruments.devices.terminals import OutputSetting

PLATE = read_wiring().fixtures["tarnbeck-8"]
OHMS = FUNCTIONS["RES"]
OPEN_INPUT = 1e10


class Ohms:
    """A board under the meter of the fixture, or of the bench by hand."""

    def __init__(self, wiring: str = "fixture", *faults: str, volts: float = 0.0) -> None:
        self.bench = SimulatedBench.open("tarnbeck-8", wiring=wiring, faults=faults, seed=2)
        if volts:
            self.bench.world.apply(1, OutputSetting(True, volts, 2.0))
        self.bench.clock.sleep(3.0)

    def touch(self, high: str, low: str = "J1.2") -> None:
        if self.bench.person:
            self.bench.person.touch("meter", high, low)
            self.bench.clock.sleep(2.0)
        else:
            self.bench.world.relays(frozenset({100 + PLATE[high], 200 + PLATE[low]}))

    def forced(self, amps: float) -> float:
        """Volts with a current from HI to LO."""
        self.bench.world.drive(amps, COMPLIANCE)
        self.bench.clock.sleep(0.1)
        volts = self.bench.world.meter_volts(OPEN_INPUT, 0.02)
        self.bench.world.drive(0.0, 0.0)
        return volts

    def reading(self) -> float:
        """Ohms in the lowest range that holds them; infinite if none does."""
        for span, amps in zip(OHMS.ranges, OHMS.currents, strict=True):
            ohms = self.forced(amps) / amps
            if ohms <= 1.2 * span:
                return ohms
        return float("inf")


@pytest.mark.parametrize(("wiring", "paths"), [("fixture", 0.6), ("hand", 0.1)])
def test_lines_of_a_board_without_power_read_what_is_left_of_them(wiring: str, paths: float) -> None:
    """Pull-ups, inputs and leakage are finite, through two relay paths or two tips."""
    meter = Ohms(wiring)
    tolerance = meter.bench.world.board.assembly.tolerance
    for point, net in (("U1.24", "WAIT"), ("U3.20", "ROMCS"), ("U6.14", "RAMCS"), ("U1.14", "D0"), ("J2.1", "VIDEO")):
        meter.touch(point)
        assert meter.reading() == pytest.approx(undriven_ohms(tolerance, net) + paths, rel=1e-6, abs=0.01), point
    assert meter.bench.world.truth().most_volts["+5V"] < 0.05


def test_a_tip_in_the_air_is_open_and_one_on_an_idle_memory_line_is_not() -> None:
    """Above every range with nothing touched; a megohm or more where only leakage is."""
    meter = Ohms("hand")
    assert meter.reading() == float("inf")
    meter.touch("U18.14")
    assert 1e6 <= meter.reading() < 1e7
    meter = Ohms("hand", "probe-not-touching@U18.14")
    meter.touch("U18.14")
    assert meter.reading() == float("inf")


def test_a_line_stuck_low_on_a_live_board_shows_its_volts_and_its_driver() -> None:
    """Half the current, half the rise: the net's own volts, and a stage of 20 Ω to 160 Ω under them."""
    meter = Ohms("hand", "reset-stuck", volts=5.0)
    meter.touch("U1.26")
    still, weak, strong = meter.bench.world.meter_volts(OPEN_INPUT, 0.02), meter.forced(5e-4), meter.forced(1e-3)
    assert 0.0 < still < 0.4  # TTL: a low output is below 0.4 V (any TTL data book)
    assert strong - weak == pytest.approx(weak - still, rel=0.01)  # Ohm's law
    assert 20.0 < (strong - still) / 1e-3 - 0.1 < 160.0  # common practice
    assert meter.reading() < 1e3


def test_the_ohms_source_gives_no_more_than_its_compliance() -> None:
    """A milliampere into a megohm ends at 8 V."""
    meter = Ohms("hand")
    meter.touch("U18.14")
    assert meter.forced(1e-3) == COMPLIANCE


def test_the_black_tip_on_a_line_turns_the_sign_and_adds_its_own_ohms() -> None:
    """Two lines against each other: the difference of their volts, the sum of their ohms."""
    meter = Ohms("hand")
    tolerance = meter.bench.world.board.assembly.tolerance
    meter.touch("U1.24", "U3.20")
    wanted = undriven_ohms(tolerance, "WAIT") + undriven_ohms(tolerance, "ROMCS") + 0.1
    assert meter.reading() == pytest.approx(wanted, rel=1e-6)
    live = Ohms("hand", volts=5.0)
    live.touch("J1.1", "U1.24")
    difference = live.bench.world.meter_volts(OPEN_INPUT, 0.02)
    live.touch("U1.24", "J1.1")
    assert live.bench.world.meter_volts(OPEN_INPUT, 0.02) == pytest.approx(-difference, abs=0.01)


def test_an_open_lead_keeps_the_volts_of_the_line_it_left() -> None:
    """On a high impedance the last level stays for seconds, then drifts off."""
    meter = Ohms("hand", volts=5.0)
    meter.touch("U1.26")
    level = meter.bench.world.meter_volts(OPEN_INPUT, 0.02)
    assert meter.bench.person is not None
    meter.bench.person.lift("meter")
    meter.bench.clock.sleep(2.0)
    # Common practice: above 10 GΩ the last value is held and drifts.
    assert 0.8 * level < meter.bench.world.meter_volts(OPEN_INPUT, 0.02) <= level + 0.01
    meter.bench.clock.sleep(100.0)
    assert meter.bench.world.meter_volts(OPEN_INPUT, 0.02) < 0.2 * level


@pytest.mark.parametrize(("high", "low"), [("U1.33", "U1.34"), ("U1.34", "U1.33")])
def test_two_lines_that_touch_show_the_bridge_and_two_that_do_not_what_holds_them(high: str, low: str) -> None:
    """A3 and A4, either way round: the sum of both inputs on a good board, about an ohm (the bridge, beside that sum)
    on a bridged one. One pair that touches leaves the next as it was."""
    good, bridged = Ohms("hand"), Ohms("hand", "lines-bridged@A3")
    for meter in (good, bridged):
        meter.touch(high, low)
    tolerance = good.bench.world.board.assembly.tolerance
    apart = undriven_ohms(tolerance, "A3") + undriven_ohms(tolerance, "A4")
    assert good.reading() == pytest.approx(apart, rel=1e-4)
    assert 0.0 < bridged.reading() - 0.1 < 2.0  # solder or a whisker: about an ohm (common practice)
    bridged.touch("U1.34", "U1.35")
    assert bridged.reading() == pytest.approx(apart, rel=1e-4)


def test_two_points_of_one_line_show_the_path_alone() -> None:
    """The same net at two chips is one piece of copper."""
    meter = Ohms("hand")
    meter.touch("U1.14", "U3.11")
    assert meter.reading() == pytest.approx(0.1, abs=0.01)
