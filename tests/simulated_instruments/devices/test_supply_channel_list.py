"""The channel-list supply on real loads: resistors and a second source across its outputs, by Ohm's law."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from autobench.protocols.replies import parse_error, parse_numbers
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.supply_channel_list import ChannelListSupply
from simulated_instruments.devices.terminals import OutputPoint, OutputSetting

OFF = OutputSetting(False, 0.0, 0.0)


@dataclass
class Load:
    """A resistor across an output, and a stiff source behind a diode that may hold it up from outside."""

    ohms: float = math.inf
    held_at: float = 0.0


class Loads:
    """Three outputs with a load each; remembers what was applied."""

    def __init__(self) -> None:
        self.loads = {1: Load(), 2: Load(), 3: Load()}
        self.settings = {1: OFF, 2: OFF, 3: OFF}
        self.applied: list[tuple[int, OutputSetting]] = []

    def apply(self, output: int, setting: OutputSetting) -> None:
        self.settings[output] = setting
        self.applied.append((output, setting))

    def point(self, output: int) -> OutputPoint:
        load, setting = self.loads[output], self.settings[output]
        if not setting.on or load.held_at > setting.volts:
            return OutputPoint(load.held_at, 0.0, False)
        if setting.volts / load.ohms > setting.amps:
            return OutputPoint(setting.amps * load.ohms, setting.amps, True)
        return OutputPoint(setting.volts, setting.volts / load.ohms, False)


class Bench:
    """A supply, its loads and its clock."""

    def __init__(self, seed: int = 1) -> None:
        self.clock = SimulatedClock(100.0)
        self.loads = Loads()
        self.supply = ChannelListSupply("supply", self.clock, self.loads, seed)
        self.say("*CLS")

    def say(self, message: str) -> None:
        self.supply.receive(message.encode("ascii"), True)
        assert self.supply.reply() is None

    def ask(self, message: str) -> str:
        self.supply.receive(message.encode("ascii"), True)
        pending = self.supply.reply()
        assert pending is not None, f"no reply to {message!r}"
        self.clock.sleep(pending.ready_at - self.clock.now())
        data = pending.data
        self.supply.take()
        return data.decode("ascii").removesuffix("\n")

    def numbers(self, message: str) -> list[float]:
        return [reply.value for reply in parse_numbers(self.ask(message))]

    def errors(self) -> list[int]:
        found = []
        while (number := parse_error(self.ask("SYST:ERR?"))[0]) != 0:
            found.append(number)
        return found

    def wait(self, seconds: float) -> None:
        self.clock.sleep(seconds)
        self.supply.advance()


def test_reset_leaves_everything_off_and_safe() -> None:
    """After *RST the outputs are off at 0 V, with the largest current limit and trip level."""
    bench = Bench()
    bench.say("VOLT 5,(@1);CURR 1,(@1);VOLT:PROT 6,(@1);:OUTP ON,(@1)")
    bench.say("*RST")
    assert bench.ask("OUTP? (@1:3)") == "0,0,0"  # SCPI-1999 vol. 2, 15.12: *RST switches off
    assert bench.ask("VOLT? (@1)") == "+0.00000000E+00"
    assert bench.ask("CURR? (@1)") == bench.ask("CURR? MAX,(@1)") == "+5.10000000E+00"  # common practice
    assert bench.ask("VOLT:PROT? (@1)") == bench.ask("VOLT:PROT? MAX,(@1)")  # common practice
    assert bench.ask("VOLT:PROT:STAT? (@1);:CURR:PROT:STAT? (@1);:OUTP:DEL:RISE? (@1)") == "1;0;+0.00000000E+00"
    assert not bench.loads.settings[1].on
    assert bench.errors() == []


def test_settings_reach_the_listed_outputs_only() -> None:
    """A channel list chooses the outputs, and a query answers in the order of its list."""
    bench = Bench()
    bench.say("VOLT 5.0,(@1,3);VOLT 12,(@2)")
    assert bench.ask("VOLT? (@1,2)") == "+5.00000000E+00,+1.20000000E+01"  # common practice: list order
    assert bench.ask("VOLT? (@3,2,1)") == "+5.00000000E+00,+1.20000000E+01,+5.00000000E+00"
    assert bench.ask("sour:voltage:lev:imm:ampl? (@1)") == "+5.00000000E+00"  # SCPI-1999 vol. 2, 19: default nodes
    bench.say("APPL CH2,3.3,0.5")
    assert bench.ask("APPL? CH2") == "+3.30000000E+00,+5.00000000E-01"
    assert bench.errors() == []


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("VOLT 20.6,(@1)", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT -0.1,(@1)", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT 5,(@4)", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT 5,(@1,4)", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("CURR 5.2,(@1)", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("APPL CH1,5,9", -222),  # SCPI-1999 vol. 2, 21.8.10
        ("VOLT 5", -109),  # SCPI-1999 vol. 2, 21.8.9
        ("VOLT 5 A,(@1)", -131),  # SCPI-1999 vol. 2, 21.8.9
        ("VOLT HIGH,(@1)", -141),  # SCPI-1999 vol. 2, 21.8.9
        ("VOLT 5,(@1),2", -108),  # SCPI-1999 vol. 2, 21.8.9
        ("OUTP 1,CH1", -104),  # SCPI-1999 vol. 2, 21.8.9: another dialect's way to name an output
        ("INST:NSEL 1", -113),  # SCPI-1999 vol. 2, 21.8.9: another dialect's command
    ],
)
def test_a_refused_setting_changes_nothing(message: str, number: int) -> None:
    """What is out of range or malformed is an error; no output is clamped to the nearest value."""
    bench = Bench()
    bench.say("VOLT 3,(@1:3);CURR 1,(@1:3)")
    bench.say(message)
    assert bench.errors() == [number]
    assert bench.numbers("VOLT? (@1:3);CURR? (@1:3)") == [3.0, 3.0, 3.0, 1.0, 1.0, 1.0]


@pytest.mark.parametrize("seed", range(8))
def test_readback_settles_inside_its_accuracy_class(seed: int) -> None:
    """300 ms after switching on, volts and amps read back within the class, in steps of a millivolt."""
    bench = Bench(seed)
    bench.loads.loads[1].ohms = 6.25
    bench.say("VOLT 5,(@1);CURR 1.5,(@1);OUTP ON,(@1)")
    early = bench.numbers("MEAS:VOLT? (@1)")[0]
    bench.wait(0.3)
    volts, amps = bench.numbers("MEAS:VOLT? (@1);CURR? (@1)")
    assert early < 3.5  # common practice: the meters of a supply lag
    assert abs(volts - 5.0) <= 0.0005 * 5.0 + 0.005  # accuracy class 0.05 % + 5 mV
    assert abs(amps - 0.8) <= 0.0015 * 0.8 + 0.005  # Ohm's law, 5 V / 6.25 ohm; accuracy class 0.15 % + 5 mA
    assert volts * 1000 == pytest.approx(round(volts * 1000), abs=1e-6)


def test_readback_is_the_same_for_the_same_seed() -> None:
    """Two supplies of one seed read alike; another specimen reads otherwise; a repeat has its own noise."""
    readings = []
    for seed in (1, 1, 2):
        bench = Bench(seed)
        bench.say("VOLT 5,(@1,2);OUTP ON,(@1,2)")
        bench.wait(0.5)
        readings.append(bench.numbers("MEAS:VOLT? (@1,2,1,1,1,1)"))
    assert readings[0] == readings[1] != readings[2]
    assert len(set(readings[0][2:] + readings[0][:1])) > 1


def test_the_current_limit_and_its_lagging_flag() -> None:
    """Into a low resistance the output limits; the register says CV first and CC a tenth of a second later."""
    bench = Bench()
    bench.loads.loads[1].ohms = 1.0
    bench.say("VOLT 5,(@1);CURR 0.5,(@1)")
    assert bench.ask("STAT:OPER:COND? (@1)") == "0"
    bench.say("OUTP ON,(@1)")
    bench.wait(0.05)
    assert bench.ask("STAT:OPER:COND? (@1)") == "1"  # common practice: the flag lags 50-200 ms
    bench.wait(0.3)
    assert bench.ask("STAT:OPER:COND? (@1,2)") == "2,0"  # bit 1 = CC, bit 0 = CV in this dialect
    assert bench.ask("STAT:OPER:COND?") == "2"
    assert bench.numbers("MEAS:VOLT? (@1)")[0] == pytest.approx(0.5, abs=0.006)  # Ohm's law, 0.5 A in 1 ohm
    bench.loads.loads[1].ohms = 100.0
    bench.wait(0.3)
    assert bench.ask("STAT:OPER:COND? (@1)") == "1"


def test_a_condition_latches_as_an_event() -> None:
    """The event register keeps that the output was limiting, until it is read or cleared."""
    bench = Bench()
    bench.loads.loads[2].ohms = 1.0
    bench.say("VOLT 5,(@2);CURR 0.1,(@2);OUTP ON,(@2)")
    bench.wait(0.3)
    bench.say("STAT:OPER:ENAB 2;*SRE 128")
    assert bench.supply.status_byte() & 192 == 192  # SCPI-1999 vol. 1, 9.1: bit 7, with the request in bit 6
    bench.say("OUTP OFF,(@2)")
    bench.wait(0.3)
    assert bench.ask("STAT:OPER:COND? (@2)") == "0"
    assert int(bench.ask("STAT:OPER? (@2)")) & 2 == 2  # SCPI-1999 vol. 1, 9.3
    assert bench.ask("STAT:OPER? (@2)") == "0"
    bench.say("*CLS")
    assert bench.supply.status_byte() == 0


def test_over_voltage_trips_at_once_and_stays_latched() -> None:
    """A source from outside above the trip level switches the output off until the protection is cleared."""
    bench = Bench()
    bench.say("VOLT 5,(@1);VOLT:PROT 5.5,(@1);:OUTP ON,(@1)")
    bench.wait(0.5)
    assert bench.ask("STAT:QUES:COND? (@1)") == "0"
    bench.loads.loads[1].held_at = 9.0
    assert bench.ask("STAT:QUES:COND? (@1)") == "512"  # bit 9 in this dialect
    assert bench.ask("OUTP? (@1)") == "0"
    assert not bench.loads.settings[1].on
    bench.loads.loads[1].held_at = 0.0
    bench.say("OUTP ON,(@1)")
    assert bench.errors() == [-200]  # SCPI-1999 vol. 2, 21.8.10
    bench.say("*RST")
    assert bench.ask("STAT:QUES:COND? (@1)") == "512"
    bench.say("OUTP:PROT:CLE (@1);:VOLT 5,(@1);:OUTP ON,(@1)")
    assert bench.ask("OUTP? (@1);:STAT:QUES:COND? (@1)") == "1;0"
    assert bench.errors() == []


def test_a_trip_level_below_the_setting_never_lets_the_setting_through() -> None:
    """The trip is faster than the output: the board sees no more than the trip level, and for no time."""
    bench = Bench()
    bench.say("VOLT 12,(@1);VOLT:PROT 5.5,(@1);:OUTP ON,(@1)")
    assert bench.ask("STAT:QUES:COND? (@1);:OUTP? (@1)") == "512;0"
    assert max(setting.volts for _, setting in bench.loads.applied if setting.on) <= 5.5


def test_an_output_set_to_its_trip_level_does_not_trip() -> None:
    """Equal is not above."""
    bench = Bench()
    bench.say("VOLT 5.5,(@1);VOLT:PROT 5.5,(@1);:OUTP ON,(@1)")
    bench.wait(1.0)
    assert bench.ask("STAT:QUES:COND? (@1);:OUTP? (@1)") == "0;1"


def test_over_current_trips_after_its_time_when_enabled() -> None:
    """Limiting for more than 50 ms trips; without the protection, or for less, it does not."""
    bench = Bench()
    for output in (1, 2):
        bench.loads.loads[output].ohms = 1.0
    bench.say("VOLT 5,(@1,2);CURR 0.5,(@1,2);CURR:PROT:STAT ON,(@1);:OUTP ON,(@1,2)")
    assert bench.ask("CURR:PROT:STAT? (@1,2);:OUTP? (@1,2)") == "1,0;1,1"
    bench.wait(0.03)
    assert bench.ask("OUTP? (@1)") == "1"
    bench.wait(0.03)
    assert bench.ask("STAT:QUES:COND? (@1,2);:OUTP? (@1,2)") == "1024,0;0,1"  # bit 10 in this dialect
    assert not bench.loads.settings[1].on
    assert bench.loads.settings[2].on


def test_delays_put_the_outputs_in_order() -> None:
    """With a rise delay the output follows later, and is off the terminals until then."""
    bench = Bench()
    bench.say("VOLT 5,(@1,2);OUTP:DEL:RISE 0.05,(@2);FALL 0.1,(@1);:OUTP ON,(@1,2)")
    assert [bench.loads.settings[output].on for output in (1, 2)] == [True, False]
    bench.wait(0.06)
    assert bench.loads.settings[2].on
    bench.say("OUTP OFF,(@1,2)")
    assert [bench.loads.settings[output].on for output in (1, 2)] == [True, False]
    bench.wait(0.11)
    assert not bench.loads.settings[1].on


def test_a_supply_that_ignores_off_says_nothing() -> None:
    """The fault shows in the measurement alone: no error, the output still on."""
    bench = Bench()
    bench.say("VOLT 5,(@1);OUTP ON,(@1)")
    bench.supply.ignores_off = True
    bench.say("OUTP OFF,(@1)")
    bench.wait(0.5)
    assert bench.errors() == []
    assert bench.numbers("MEAS:VOLT? (@1)")[0] == pytest.approx(5.0, abs=0.02)


def test_the_measurement_is_made_when_the_reply_is_ready() -> None:
    """What changes while the supply is still measuring is in the answer."""
    bench = Bench()
    bench.say("VOLT 5,(@1);OUTP ON,(@1)")
    bench.wait(0.5)
    bench.supply.receive(b"MEAS:VOLT? (@1)", True)
    pending = bench.supply.reply()
    assert pending is not None
    bench.clock.sleep(pending.ready_at - bench.clock.now())
    bench.loads.loads[1].held_at = 9.0
    bench.clock.sleep(0.2)
    assert float(pending.data) > 8.0
    assert pending.data == pending.data
