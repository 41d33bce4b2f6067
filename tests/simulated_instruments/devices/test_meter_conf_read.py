"""The configure-and-read meter on real things to measure: sources, resistors and a diode, by Ohm's law."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from autobench.protocols.replies import parse_error, parse_number, parse_numbers
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.meter_conf_read import ConfReadMeter


@dataclass
class Terminals:
    """A source of `emf` volts behind `ohms` between HI and LO, or a diode of `knee` volts; remembers what was asked."""

    emf: float = 0.0
    ohms: float = 1.0
    knee: float | None = None
    name: str = "101:U1.27"
    amps: float = 0.0
    compliance: float = 0.0
    input_ohms: float = 0.0
    aperture: float = 0.0

    def drive(self, amps: float, compliance_volts: float) -> None:
        self.amps, self.compliance = amps, compliance_volts

    def volts(self, input_ohms: float, aperture: float) -> float:
        self.input_ohms, self.aperture = input_ohms, aperture
        if self.knee is not None:
            return min(self.knee, self.compliance) if self.amps else 0.0
        if math.isinf(self.ohms):
            return min(self.amps * input_ohms, self.compliance)
        parallel = 1 / (1 / self.ohms + 1 / input_ohms)
        driven = self.emf / self.ohms * parallel + self.amps * parallel
        return min(driven, self.compliance) if self.amps else driven

    def key(self) -> str:
        return self.name


class Bench:
    """A meter, what it is connected to, and its clock."""

    def __init__(self, seed: int = 1, **terminals: float) -> None:
        self.clock = SimulatedClock(10.0)
        self.terminals = Terminals(**terminals)  # type: ignore[arg-type]
        self.meter = ConfReadMeter("meter", self.clock, self.terminals, seed)
        self.say("*CLS")

    def say(self, message: str) -> None:
        self.meter.receive(message.encode("ascii"), True)
        assert self.meter.reply() is None

    def ask(self, message: str) -> str:
        self.meter.receive(message.encode("ascii"), True)
        pending = self.meter.reply()
        assert pending is not None, f"no reply to {message!r}"
        self.clock.sleep(pending.ready_at - self.clock.now())
        self.meter.take()
        return pending.data.decode("ascii").removesuffix("\n")

    def number(self, message: str) -> float:
        return parse_number(self.ask(message)).value

    def error(self) -> int:
        return parse_error(self.ask("SYST:ERR?"))[0]

    def seconds(self, message: str) -> float:
        """How long the answer to a message takes."""
        before = self.clock.now()
        self.ask(message)
        return self.clock.now() - before


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("emf", "span"), [(0.05, 0.1), (-0.7, 1.0), (5.0, 10.0), (12.0, 100.0), (0.0, 10.0)])
def test_volts_are_inside_the_accuracy_class(seed: int, emf: float, span: float) -> None:
    """A fixed range reads within its class, whatever specimen it is."""
    bench = Bench(seed, emf=emf)
    bench.say(f"CONF:VOLT:DC {span}")
    assert abs(bench.number("READ?") - emf) <= 35e-6 * abs(emf) + 5e-6 * span  # class 0.0035 % + 0.0005 % of range


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("ohms", [10.0, 82.0, 470.0, 4.7e3, 47e3, 470e3, 4.7e6])
def test_ohms_are_inside_the_accuracy_class(seed: int, ohms: float) -> None:
    """Autoranging ohms reads within the class of the range it found."""
    bench = Bench(seed, ohms=ohms)
    bench.say("CONF:RES")
    value = bench.number("READ?")
    span = bench.number("RES:RANG?")
    parallel = 1 / (1 / ohms + 1e-10)  # the open input of 10 Gohm lies across it
    assert 0.1 * span <= ohms <= 1.2 * span  # common practice: down below 10 %, up above 120 %
    assert abs(value - parallel) <= 100e-6 * ohms + 10e-6 * span  # class 0.010 % + 0.001 % of range


def test_readings_have_the_long_form() -> None:
    """A reading is a sign, one digit, eight decimals and an exponent."""
    bench = Bench(emf=5.0)
    assert bench.ask("MEAS:VOLT:DC? 10").startswith(("+4.999", "+5.000"))
    assert len(bench.ask("READ?")) == len("+4.99876000E+00")  # common practice
    assert bench.ask("SYST:ERR?") == '+0,"No error"'  # common practice: some write the sign of nought


@pytest.mark.parametrize(
    ("emf", "span", "answer"),
    [
        (15.0, 10.0, "+9.90000000E+37"),  # SCPI-1999 vol. 1, 7.2.1.4
        (-15.0, 10.0, "-9.90000000E+37"),  # SCPI-1999 vol. 1, 7.2.1.4: the sign is kept
        (0.13, 0.1, "+9.90000000E+37"),
    ],
)
def test_overload_is_not_a_reading(emf: float, span: float, answer: str) -> None:
    """Beyond 120 % of a fixed range the meter answers infinity with its sign."""
    bench = Bench(emf=emf)
    bench.say(f"CONF:VOLT:DC {span}")
    assert bench.ask("READ?") == answer


def test_open_leads_overload_every_ohms_range() -> None:
    """Nothing between the leads is an overload, found by autoranging to the top at a compliance of 8 V."""
    bench = Bench(ohms=math.inf)
    assert bench.ask("MEAS:RES?") == "+9.90000000E+37"
    assert bench.terminals.compliance == 8.0
    assert bench.number("RES:RANG?") == 1e8


def test_ohms_force_their_test_current() -> None:
    """Each range has its current; outside the ohms functions there is none."""
    bench = Bench(ohms=100.0)
    currents = []
    for span in ("100", "1E3", "1E4", "1E5"):
        bench.say(f"CONF:RES {span}")
        currents.append(bench.terminals.amps)
    assert currents == [1e-3, 1e-3, 1e-4, 1e-5]  # common practice of 6½-digit meters
    bench.say("CONF:VOLT:DC")
    assert bench.terminals.amps == 0.0
    bench.say('FUNC "FRES"')
    assert bench.terminals.amps > 0
    bench.say("*RST")
    assert bench.terminals.amps == 0.0


def test_a_live_node_spoils_ohms() -> None:
    """Ohms divides whatever voltage there is: 0.2 V left on a 100 ohm rail reads 300 ohms."""
    bench = Bench(emf=0.2, ohms=100.0)
    bench.say("CONF:RES 1000")
    assert bench.number("READ?") == pytest.approx(300.0, rel=1e-3)  # Ohm's law, 0.2 V + 1 mA in 100 ohm


def test_continuity_and_diodes() -> None:
    """Continuity is ohms up to 1.2 kohm, a diode is its forward voltage at 1 mA up to 1.2 V."""
    bench = Bench(ohms=0.3)
    assert bench.number("MEAS:CONT?") == pytest.approx(0.3, abs=0.03)
    bench.terminals.ohms = 2000.0
    assert bench.ask("MEAS:CONT?") == "+9.90000000E+37"  # common practice
    bench.terminals.knee = 0.62
    assert bench.number("MEAS:DIOD?") == pytest.approx(0.62, abs=0.001)
    assert bench.terminals.amps == 1e-3  # common practice
    bench.terminals.knee = 3.0
    assert bench.ask("MEAS:DIOD?") == "+9.90000000E+37"  # common practice


def test_the_current_jack_is_not_wired() -> None:
    """Current reads nought within the class: leads in the volts jack carry none."""
    assert abs(Bench(emf=5.0).number("MEAS:CURR:DC? 1")) <= 50e-6


def test_input_resistance_follows_range_and_setting() -> None:
    """10 Mohm by default; above 10 Gohm up to the 10 V range when set so, and never on the ranges beyond."""
    bench = Bench(emf=5.0)
    bench.ask("MEAS:VOLT:DC? 10")
    assert bench.terminals.input_ohms == 1e7  # common practice: the default
    bench.say("INP:IMP:AUTO ON")
    bench.ask("READ?")
    assert bench.terminals.input_ohms >= 1e10  # common practice
    bench.say("VOLT:DC:RANG 100")
    bench.ask("READ?")
    assert bench.terminals.input_ohms == 1e7  # common practice
    assert bench.ask("INP:IMP:AUTO?") == "1"


def test_reading_time_is_integration_twice_with_autozero() -> None:
    """10 line cycles of 50 Hz with autozero are 400 ms; without, 200 ms; a short integration takes less."""
    bench = Bench(emf=5.0)
    bench.say("CONF:VOLT:DC 10")
    assert bench.seconds("READ?") == pytest.approx(0.4, abs=0.02)  # 2 * 10 / 50 Hz
    bench.say("ZERO:AUTO OFF")
    assert bench.seconds("READ?") == pytest.approx(0.2, abs=0.02)  # 10 / 50 Hz
    bench.say("VOLT:DC:NPLC 0.02;:TRIG:DEL 0.5;:SAMP:COUN 3")
    assert bench.seconds("READ?") == pytest.approx(3 * 0.5004, abs=0.02)  # three delays and 0.02 / 50 Hz each
    assert bench.terminals.aperture == pytest.approx(0.0004)


def test_autorange_takes_time_and_stays() -> None:
    """Each range step costs time once; the next reading starts where the last one ended."""
    bench = Bench(emf=0.05)
    bench.say("CONF:VOLT:DC;:VOLT:NPLC 1")
    first, second = bench.seconds("READ?"), bench.seconds("READ?")
    assert 2 * 0.02 <= first - second <= 2 * 0.15  # common practice: 20-150 ms a step; two steps from 10 V
    assert bench.number("VOLT:RANG?") == 0.1
    bench.terminals.emf = 0.11
    bench.ask("READ?")
    assert bench.number("VOLT:RANG?") == 0.1  # common practice: up only beyond 120 %
    bench.terminals.emf = 0.13
    assert bench.number("READ?") == pytest.approx(0.13, abs=1e-4)
    assert bench.number("VOLT:RANG?") == 1.0


def test_noise_grows_as_integration_shrinks() -> None:
    """Scatter at 0.02 line cycles is many times that at 10."""
    bench = Bench(emf=5.0)

    def scatter(cycles: str) -> float:
        bench.say(f"CONF:VOLT:DC 10;:VOLT:NPLC {cycles};:SAMP:COUN 40")
        values = [reply.value for reply in parse_numbers(bench.ask("READ?"))]
        assert len(values) == 40
        return max(values) - min(values)

    assert scatter("0.02") > 10 * scatter("10") > 0


def test_noise_does_not_depend_on_the_order_of_points() -> None:
    """The n-th reading at a point is the same whether or not another point was read before it."""
    straight, crossed = Bench(emf=5.0), Bench(emf=5.0)
    crossed.terminals.name = "102:U2.1"
    crossed.ask("MEAS:VOLT:DC? 10")
    crossed.terminals.name = straight.terminals.name
    assert crossed.ask("MEAS:VOLT:DC? 10") == straight.ask("MEAS:VOLT:DC? 10")
    assert crossed.ask("READ?") == straight.ask("READ?")


def test_configuring_cancels_speed_and_trigger() -> None:
    """CONF and MEAS put integration, trigger and counts back to their presets."""
    bench = Bench(emf=5.0)
    bench.say("VOLT:NPLC 0.2;:TRIG:SOUR BUS;DEL 0.1;:SAMP:COUN 5;:ZERO:AUTO OFF;:INP:IMP:AUTO ON")
    bench.say("CONF:VOLT:DC 10")
    assert bench.ask("VOLT:NPLC?;:TRIG:SOUR?;DEL:AUTO?;:SAMP:COUN?;:ZERO:AUTO?;:INP:IMP:AUTO?") == (
        "+1.00000000E+01;IMM;1;+1;1;0"  # common practice
    )
    bench.say("VOLT:NPLC 5")
    assert bench.number("VOLT:NPLC?") == 10  # common practice: the next longer integration
    bench.say("CONF:VOLT:DC 10,0.001")
    assert bench.number("VOLT:NPLC?") == 0.02
    assert bench.ask("CONF?") == '"VOLT +1.00000000E+01,+1.00000000E-03"'
    assert bench.error() == 0


def test_fetch_needs_an_initiated_reading() -> None:
    """FETC? is stale before INIT and after any new setting; READ? leaves nothing to fetch."""
    bench = Bench(emf=5.0)
    bench.say("CONF:VOLT:DC 10")
    bench.say("FETC?")
    assert bench.error() == -230  # SCPI-1999 vol. 2, 21.8.10
    bench.ask("READ?")
    bench.say("FETC?")
    assert bench.error() == -230  # common practice: READ? does not fill the memory
    bench.say("INIT")
    assert bench.seconds("FETC?") == pytest.approx(0.4, abs=0.02)  # waits for the reading under way
    assert bench.ask("FETC?") == bench.ask("FETC?")
    bench.say("VOLT:NPLC 1")
    bench.say("FETC?")
    assert bench.error() == -230


def test_bus_trigger() -> None:
    """With TRIG:SOUR BUS a reading waits for *TRG, READ? deadlocks, and triggers at the wrong time are ignored."""
    bench = Bench(emf=5.0)
    bench.say("CONF:VOLT:DC 10;:TRIG:SOUR BUS")
    bench.say("READ?")
    assert bench.error() == -214  # SCPI-1999 vol. 2, 21.8.10
    bench.say("*TRG")
    assert bench.error() == -211  # SCPI-1999 vol. 2, 21.8.10
    bench.say("INIT")
    bench.say("INIT")
    assert bench.error() == -213  # SCPI-1999 vol. 2, 21.8.10
    bench.say("*OPC?")  # hangs: nothing will complete the operation
    bench.say("*TRG")
    assert bench.ask("*OPC?") == "1"
    assert bench.number("FETC?") == pytest.approx(5.0, abs=0.001)
    assert bench.error() == 0


def test_a_device_clear_ends_the_wait_for_a_trigger() -> None:
    """After a device clear the meter is idle and can be initiated again."""
    bench = Bench(emf=5.0)
    bench.say("CONF:VOLT:DC 10;:TRIG:SOUR BUS")
    bench.say("INIT")
    bench.meter.device_clear()
    bench.say("INIT")
    assert bench.error() == 0


def test_an_initiated_reading_is_made_when_its_time_is_over() -> None:
    """A later look at the meter does not change a reading that was complete before."""
    bench = Bench(emf=5.0)
    bench.say("CONF:VOLT:DC 10")
    bench.say("INIT")
    bench.clock.sleep(1.0)
    bench.meter.advance()
    bench.terminals.emf = 1.0
    assert bench.number("FETC?") == pytest.approx(5.0, abs=0.001)


def test_functions_are_chosen_by_quoted_names() -> None:
    """FUNC takes short and long names in quotes and answers the short one; what is not fitted is refused."""
    bench = Bench()
    for sent, answered in (("VOLT:DC", "VOLT"), ("resistance", "RES"), ("FRES", "FRES"), ("DIODE", "DIOD")):
        bench.say(f'FUNC "{sent}"')
        assert bench.ask("FUNC?") == f'"{answered}"'  # SCPI-1999 vol. 2, 18.10: quoted
    bench.say("FUNC VOLT")
    assert bench.error() == -148  # SCPI-1999 vol. 2, 21.8.9: quotes are needed
    bench.say('FUNC "FREQ"')
    assert bench.error() == -224  # SCPI-1999 vol. 2, 21.8.10


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("CONF:VOLT:AC", -113),  # SCPI-1999 vol. 2, 21.8.9: not fitted
        ("CONF:VOLT:DC 2000", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT:RANG 2000", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT:NPLC 1000", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("SAMP:COUN 0", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("TRIG:SOUR LOUD", -141),  # SCPI-1999 vol. 2, 21.8.9
        ("CONF:VOLT:DC 10,1E-9", -221),  # SCPI-1999 vol. 2, 21.8.10
        ("VDC", -113),  # SCPI-1999 vol. 2, 21.8.9: another dialect's command
        ("VOLTA:DC:NPLC 1", -113),  # SCPI-1999 vol. 1, 6.2.1: neither short nor long
    ],
)
def test_refused_settings_change_nothing(message: str, number: int) -> None:
    """A wrong setting leaves function, range and speed as they were."""
    bench = Bench()
    bench.say("CONF:RES 1000;:RES:NPLC 1")
    before = bench.ask("CONF?;:VOLT:RANG?;NPLC?;:SAMP:COUN?;:TRIG:SOUR?")
    bench.say(message)
    assert bench.error() == number
    assert bench.ask("CONF?;:VOLT:RANG?;NPLC?;:SAMP:COUN?;:TRIG:SOUR?") == before


def test_the_display_shows_a_prompt() -> None:
    """Text for the person at the bench, cut to the display's width, until it is cleared."""
    bench = Bench()
    bench.say('SYST:REM;:DISP:TEXT "CPU PIN 11"')
    assert bench.ask("DISP:TEXT?") == '"CPU PIN 11"'
    bench.say('DISP:TEXT "PROBE ON U18 PIN 8"')
    assert len(bench.meter.display) == 12  # common practice
    bench.say("DISP:TEXT:CLE;:SYST:LOC")
    assert bench.ask("DISP:TEXT?") == '""'


def test_ranges_once_and_off() -> None:
    """RANG fixes the smallest range that holds the value, AUTO ONCE finds one and stays, AUTO OFF keeps it."""
    bench = Bench(emf=0.5)
    bench.say("VOLT:RANG 5")
    assert bench.ask("VOLT:RANG?;RANG:AUTO?") == "+1.00000000E+01;0"
    bench.say("VOLT:RANG:AUTO ONCE")
    assert bench.ask("VOLT:RANG?;RANG:AUTO?") == "+1.00000000E+00;0"
    bench.terminals.emf = 5.0
    assert bench.ask("READ?") == "+9.90000000E+37"
    bench.say("VOLT:RANG:AUTO ON")
    assert bench.number("READ?") == pytest.approx(5.0, abs=0.001)


def test_a_held_range_and_integration_win_over_commands() -> None:
    """With the front panel holding range or speed, what is sent is acknowledged and not done."""
    bench = Bench(emf=5.0)
    bench.meter.held_range = 1.0
    bench.say("CONF:VOLT:DC 10")
    assert bench.ask("READ?") == "+9.90000000E+37"
    bench.meter.held_range, bench.meter.held_cycles = None, 0.02
    bench.ask("READ?")
    assert bench.terminals.aperture == pytest.approx(0.0004)
    assert bench.error() == 0
