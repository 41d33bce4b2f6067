"""The supplies other than PS-3 and PS-4 by their own commands: formats, status maps, selection, signs, lengths."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.supply_fixed_digits import FixedDigitsSupply
from simulated_instruments.devices.supply_fixed_text import FixedTextSupply
from simulated_instruments.devices.supply_letter_number import LetterNumberSupply
from simulated_instruments.devices.supply_selected import SelectedSupply
from simulated_instruments.devices.supply_single import SingleSupply
from tests.drivers.meetings import Loads


class Bench:
    """A device on loads, spoken to with an END flag."""

    def __init__(self, kind: type, ohms: dict[int, float]) -> None:
        self.clock, self.loads = SimulatedClock(), Loads(ohms)
        self.device: Device = kind("supply", self.clock, self.loads, 5)

    def send(self, text: str) -> str:
        """The reply to one message, without its terminator; "" where there is none."""
        self.clock.sleep(0.1)
        self.device.receive(text.encode("latin-1"), True)
        pending = self.device.reply()
        if pending is None:
            return ""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.device.take()
        return data.decode("latin-1").removesuffix("\n")

    def error(self) -> int:
        """The oldest error."""
        return int(self.send("SYST:ERR?").split(",")[0])

    def later(self, seconds: float = 1.0) -> None:
        """Let time pass, with a look half way, as somebody who watches has."""
        for _ in range(4):
            self.clock.sleep(seconds / 4.0)
            self.device.advance()


@pytest.fixture
def ps_1() -> Bench:
    return Bench(SingleSupply, {1: 10.0})


@pytest.fixture
def ps_2() -> Bench:
    return Bench(SelectedSupply, {1: 10.0, 2: 1000.0, 3: 100.0})


@pytest.fixture
def ps_5() -> Bench:
    return Bench(FixedTextSupply, {1: 10.0})


def test_a_single_supply_after_reset(ps_1: Bench) -> None:
    """Off, no volts, the current limit at its maximum (common practice), numbers as NR3 (IEEE 488.2 8.7.4)."""
    assert [ps_1.send(query) for query in ("OUTP?", "VOLT?", "CURR?")] == ["0", "+0.00000000E+00", "+5.15000000E+00"]


def test_a_single_supply_says_voltage_unregulated_in_constant_current(ps_1: Bench) -> None:
    """Questionable register: bit 0 in constant current, bit 1 in constant voltage, none when off (common practice)."""
    assert ps_1.send("STAT:QUES:COND?") == "0"
    ps_1.send("APPL 5.0,1.0;:OUTP ON")
    ps_1.later()
    assert ps_1.send("STAT:QUES:COND?") == "2"
    ps_1.send("CURR 0.2")
    ps_1.later()
    assert ps_1.send("STAT:QUES:COND?") == "1"
    ps_1.send("OUTP OFF")
    ps_1.later()
    assert ps_1.send("STAT:QUES:COND?") == "0"
    assert ps_1.error() == 0


def test_a_single_supply_has_two_ranges(ps_1: Bench) -> None:
    """More than the range gives is out of range; a range that cannot hold the set volts is a conflict."""
    ps_1.send("VOLT 12")
    assert ps_1.error() == -222  # SCPI-1999 vol. 2, 21.8.9
    ps_1.send("VOLT:RANG P20V;:VOLT 12")
    assert (ps_1.send("VOLT?"), ps_1.send("VOLT:RANG?")) == ("+1.20000000E+01", "P20V")
    ps_1.send("VOLT:RANG LOW")
    assert ps_1.error() == -221
    assert ps_1.send("CURR?") == "+2.58000000E+00"  # the high range gives less current


def test_a_single_supply_refuses_channels_and_suffixes(ps_1: Bench) -> None:
    """A channel list is a parameter too many, a selection unknown (SCPI-1999 vol. 2, 21.8.9)."""
    ps_1.send("VOLT 5.0,(@1)")
    assert ps_1.error() == -108
    ps_1.send("INST:NSEL 1")
    assert ps_1.error() == -113


def test_a_single_supply_trips(ps_1: Bench) -> None:
    """Above the level it goes off, bit 9 says so, ON is refused until it is cleared."""
    ps_1.send("VOLT:PROT 5.5;:VOLT 5;:OUTP ON")
    ps_1.later()
    ps_1.send("VOLT 6")
    ps_1.later()
    assert (ps_1.send("VOLT:PROT:TRIP?"), ps_1.send("STAT:QUES:COND?"), ps_1.send("OUTP?")) == ("1", "512", "0")
    ps_1.send("OUTP ON")
    assert ps_1.error() == -200
    ps_1.send("VOLT 5;:OUTP:PROT:CLE;:OUTP ON")
    ps_1.later()
    assert ps_1.send("VOLT:PROT:TRIP?") == "0"
    assert float(ps_1.send("MEAS:VOLT?")) == pytest.approx(5.0, abs=0.01)
    assert ps_1.error() == 0


def test_a_selection_stays_until_the_next(ps_2: Bench) -> None:
    """What is set concerns the output selected last, by number or by name (common practice)."""
    ps_2.send("INST:NSEL 2;:VOLT 12")
    ps_2.send("VOLT 13")
    assert ps_2.send("INST?") == "P25V"
    assert ps_2.send("INST P15V;:VOLT?") == "+0.00000000E+00"
    assert ps_2.send("INST:NSEL 2;:VOLT?") == "+1.30000000E+01"
    ps_2.send("INST:NSEL 4")
    assert ps_2.error() == -222


def test_a_negative_output_takes_and_tells_signed_volts(ps_2: Bench) -> None:
    """Its terminals are below the common one; the wrong sign is out of range."""
    ps_2.send("APPL N25V,-5.0,0.2;:OUTP ON")
    ps_2.later()
    assert ps_2.loads.point(3).volts == -5.0
    assert float(ps_2.send("MEAS:VOLT? N25V")) == pytest.approx(-5.0, abs=0.01)
    assert float(ps_2.send("MEAS:CURR?")) == pytest.approx(0.05, abs=0.006)
    assert ps_2.error() == 0
    ps_2.send("VOLT 5.0")
    assert ps_2.error() == -222
    ps_2.send("INST P15V;:VOLT -5.0")
    assert ps_2.error() == -222


def test_status_goes_by_output(ps_2: Bench) -> None:
    """Each output has its own summary; bit 0 is constant current, bit 1 constant voltage (common practice)."""
    ps_2.send("INST:NSEL 1;:VOLT 5;CURR 0.1;:OUTP ON")
    ps_2.send("INST:NSEL 2;:VOLT 5;CURR 0.1;:OUTP ON")
    ps_2.later()
    found = [ps_2.send(f"STAT:QUES:INST:ISUM{place}:COND?") for place in (1, 2, 3)]
    assert found == ["1", "2", "0"]
    assert ps_2.send("STAT:QUES:COND?") == "8192"  # SCPI-1999 vol. 1, 9.4: bit 13, instrument summary
    ps_2.send("STAT:QUES:INST:ISUM7:COND?")
    assert ps_2.error() == -114


@pytest.mark.parametrize(("together", "live"), [(False, {2}), (True, {1, 2, 3})])
def test_switching_concerns_the_selected_output_or_all(ps_2: Bench, together: bool, live: set[int]) -> None:
    """Both kinds occur (common practice)."""
    assert isinstance(ps_2.device, SelectedSupply)
    ps_2.device.together = together
    ps_2.send("INST:NSEL 2;:OUTP ON")
    assert {place for place, setting in ps_2.loads.settings.items() if setting.on} == live


def test_replies_without_terminator_have_fixed_lengths(ps_5: Bench) -> None:
    """Five characters each, and one raw byte for the status (common practice)."""
    ps_5.send("VSET1:05.00")
    ps_5.send("ISET1:1.000")
    ps_5.send("OUT1")
    ps_5.later()
    assert [ps_5.send(query) for query in ("VSET1?", "ISET1?")] == ["05.00", "1.000"]
    assert len(ps_5.send("VOUT1?")) == len(ps_5.send("IOUT1?")) == 5
    assert float(ps_5.send("VOUT1?")) == pytest.approx(5.0, abs=0.03)
    status = ps_5.send("STATUS?")
    assert len(status) == 1
    assert ord(status) & 0b1100_0001 == 0b0100_0001  # on, in constant voltage, not tripped


def test_what_it_does_not_understand_it_ignores(ps_5: Bench) -> None:
    """No error queue, no answer, no change: also for more than it can give, and for a number of another form."""
    ps_5.send("VSET1:05.00")
    for text in ("VSET1:99.00", "VSET1:5", "VSET1:05.00\n", "SYST:ERR?", "hello"):
        assert ps_5.send(text) == ""
    assert ps_5.send("VSET1?") == "05.00"


def test_what_comes_too_soon_is_lost(ps_5: Bench) -> None:
    """Within 50 ms after a message the next one is not taken (common practice)."""
    ps_5.send("VSET1:05.00")
    ps_5.device.receive(b"VSET1:06.00", True)
    assert ps_5.send("VSET1?") == "05.00"


def test_its_protection_is_a_switch(ps_5: Bench) -> None:
    """OVP has no level of its own; bit 7 tells a trip, and switching on again releases it."""
    ps_5.send("VSET1:05.00")
    ps_5.send("OVP1")
    ps_5.send("OUT1")
    ps_5.later()
    assert ord(ps_5.send("STATUS?")) & 0xC0 == 0x40
    assert isinstance(ps_5.device, FixedTextSupply)
    ps_5.device.output.settings.trip_volts = 4.0  # as if something outside lifted the output above its level
    ps_5.later()
    assert ord(ps_5.send("STATUS?")) & 0xC0 == 0x80
    ps_5.send("VSET1:05.00")
    ps_5.send("OUT1")
    assert ord(ps_5.send("STATUS?")) & 0xC0 == 0x40


def test_some_revisions_send_junk_behind_the_set_current(ps_5: Bench) -> None:
    """A sixth character (common practice)."""
    assert isinstance(ps_5.device, FixedTextSupply)
    ps_5.device.junk = True
    assert ps_5.send("ISET1?") == "5.100K"


@pytest.fixture
def ps_6() -> Bench:
    return Bench(FixedDigitsSupply, {1: 10.0})


def test_fixed_digits_are_acknowledged(ps_6: Bench) -> None:
    """`OK` behind everything it takes, and behind data (the dialect's own sheet: 030201450, then OK)."""
    assert ps_6.send("VOLT050\r") == "OK\r"
    assert ps_6.send("CURR100\r") == "OK\r"
    assert ps_6.send("SOUT0\r") == "OK\r"
    ps_6.later()
    assert ps_6.loads.settings[1].on  # 0 is on
    reading = ps_6.send("GETD\r")
    assert (len(reading), reading[8:]) == (13, "0\rOK\r")
    assert int(reading[:4]) == pytest.approx(500, abs=6)  # 5.0 V in hundredths
    assert int(reading[4:8]) == pytest.approx(50, abs=4)  # Ohm's law: 5 V across 10 Ω
    ps_6.send("CURR020\r")
    ps_6.later()
    assert ps_6.send("GETD\r")[8] == "1"  # constant current
    assert ps_6.send("SOUT1\r") == "OK\r"
    assert not ps_6.loads.settings[1].on  # 1 is off
    assert ps_6.send("GMAX\r") == "180200\rOK\r"


@pytest.mark.parametrize("line", ["VOLT001", "VOLT181", "CURR201", "VOLT05", "VOLT5.0", "volt050", "SOUT2", "*IDN?"])
def test_what_fixed_digits_do_not_take_is_left_without_a_word(ps_6: Bench, line: str) -> None:
    """Below the least volts, above the most, another number of digits, another language: silence, and no change."""
    before = repr(ps_6.device.output.settings)  # type: ignore[attr-defined]  # of this kind of device
    assert ps_6.send(f"{line}\r") == ""
    assert repr(ps_6.device.output.settings) == before  # type: ignore[attr-defined]


def test_fixed_digits_trip_until_the_mains(ps_6: Bench) -> None:
    """Only the switch at the mains releases a trip; ON is not taken before."""
    for line in ("VOLT050", "CURR200", "SOVP055", "SOUT0"):
        assert ps_6.send(f"{line}\r") == "OK\r"
    ps_6.later()
    ps_6.send("VOLT060\r")
    ps_6.later()
    assert not ps_6.loads.settings[1].on
    assert ps_6.send("SOUT0\r") == ""
    ps_6.device.reset()
    assert ps_6.send("SOUT0\r") == "OK\r"


def test_a_larger_models_limits_are_in_tenths(ps_6: Bench) -> None:
    """The same three digits mean ten times as much there, and so does `GMAX`: only the label tells them apart."""
    assert isinstance(ps_6.device, FixedDigitsSupply)
    ps_6.device.amps_step = 0.1
    assert ps_6.send("GMAX\r") == "180200\rOK\r"
    ps_6.send("CURR100\r")
    assert ps_6.device.output.settings.amps == pytest.approx(10.0)


@pytest.fixture
def ps_7() -> Bench:
    return Bench(LetterNumberSupply, {1: 10.0, 2: 50.0})


def test_a_letter_and_a_number(ps_7: Bench) -> None:
    """Settings come back behind their own header, readings with their unit; the outputs are apart."""
    for line in ("V1 5", "I1 1.0", "V2 12.00\r", "OVP1 5.5"):
        assert ps_7.send(line) == ""
    found = [ps_7.send(query).strip() for query in ("V1?", "I1?", "V2?", "OVP1?", "OVP2?")]
    assert found == ["V1 5.00", "I1 1.00", "V2 12.00", "VP1 5.50", "VP2 OFF"]
    ps_7.send("OP1 1")
    ps_7.later()
    assert [ps_7.send(query).strip() for query in ("OP1?", "OP2?")] == ["1", "0"]
    volts, amps = ps_7.send("V1O?").strip(), ps_7.send("I1O?").strip()
    assert (volts[-1], amps[-1]) == ("V", "A")
    assert float(volts[:-1]) == pytest.approx(5.0, abs=0.03)
    assert float(amps[:-1]) == pytest.approx(0.5, abs=0.01)  # Ohm's law: 5 V across 10 Ω
    ps_7.send("OPALL 0")
    assert ps_7.send("OP1?").strip() == "0"
    assert ps_7.send("*ESR?").strip() == "128"  # IEEE 488.2, 11.5.1: bit 7 is power-on, and there was no error


def test_the_limit_register_keeps_what_has_been(ps_7: Bench) -> None:
    """Bit 0 constant voltage, 1 constant current (common practice); what is over shows in one reading more."""
    for line in ("V1 5", "I1 1", "OP1 1"):
        ps_7.send(line)
    ps_7.later()
    ps_7.send("LSR1?")
    assert ps_7.send("LSR1?").strip() == "1"
    ps_7.send("I1 0.2")
    ps_7.later()
    assert [ps_7.send("LSR1?").strip() for _ in range(2)] == ["3", "2"]
    ps_7.send("I1 1")
    ps_7.later()
    assert [ps_7.send("LSR1?").strip() for _ in range(2)] == ["3", "1"]


@pytest.mark.parametrize(("arm", "load", "bit"), [("OVP1 5.5", "V1 7", 4), ("OCP1 0.6", "V1 7", 8)])
def test_letter_and_number_trips_until_reset(ps_7: Bench, arm: str, load: str, bit: int) -> None:
    """Over-voltage is bit 2, over-current bit 3 (common practice); ON is an execution error until TRIPRST."""
    for line in ("V1 5", "I1 2", arm, "OP1 1"):
        ps_7.send(line)
    ps_7.later()
    assert ps_7.loads.settings[1].on
    ps_7.send(load)
    ps_7.later()
    assert not ps_7.loads.settings[1].on
    ps_7.send("LSR1?")
    assert int(ps_7.send("LSR1?")) == bit
    ps_7.send("*CLS")
    ps_7.send("OP1 1")
    assert (ps_7.send("EER?").strip(), ps_7.send("*ESR?").strip()) == ("221", "16")  # IEEE 488.2, 11.5.1: bit 4
    for line in ("V1 5", "TRIPRST", "OP1 1"):
        ps_7.send(line)
    assert ps_7.loads.settings[1].on


def test_letter_and_number_obeys_one_interface(ps_7: Bench) -> None:
    """While another interface has it to itself, nothing can be set here, and the lock is refused with -1."""
    assert isinstance(ps_7.device, LetterNumberSupply)
    assert (ps_7.send("IFLOCK").strip(), ps_7.send("IFUNLOCK").strip()) == ("1", "0")
    ps_7.device.locked_elsewhere = True
    ps_7.send("V1 9")
    assert (ps_7.send("EER?").strip(), ps_7.send("IFLOCK").strip()) == ("203", "-1")
    assert ps_7.send("V1?").strip() == "V1 0.00"


def test_what_comes_within_ten_milliseconds_is_lost(ps_7: Bench) -> None:
    """A second line on the heels of the first is not taken (common practice)."""
    ps_7.send("V1 5")
    ps_7.device.receive(b"V1 6", True)
    assert ps_7.send("V1?").strip() == "V1 5.00"
