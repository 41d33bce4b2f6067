"""The supply of the dialect PS-4 by itself: forms of its replies, its pace, its protections; common practice."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.supply_channel_word import PACE, ChannelWordSupply
from tests.drivers.meetings import Loads


class Bench:
    """The supply with 10 ohms at both outputs, and somebody who waits long enough between two messages."""

    def __init__(self) -> None:
        self.clock = SimulatedClock()
        self.loads = Loads({1: 10.0, 2: 10.0})
        self.supply = ChannelWordSupply("supply", self.clock, self.loads, seed=3)
        self.say("*CLS")

    def say(self, *messages: str) -> None:
        for message in messages:
            self.clock.sleep(0.05)
            self.supply.receive(message.encode("ascii"), True)

    def ask(self, message: str) -> str:
        self.say(message)
        pending = self.supply.reply()
        assert pending is not None
        self.clock.sleep(pending.ready_at - self.clock.now())
        self.supply.take()
        return pending.data.decode("ascii").strip()

    def errors(self) -> list[int]:
        found = []
        while len(self.supply.errors):
            found.append(self.supply.errors.pop().number)
        return found


def test_replies_have_the_forms_of_the_dialect() -> None:
    """Words for on and off, three decimals, three values at once, a hexadecimal status word."""
    bench = Bench()
    bench.say("CH1:VOLT 5.0", "CH1:CURR 1.0", "OUTP CH1,ON")
    bench.clock.sleep(1.0)
    assert bench.ask("OUTP? CH1") == "ON"
    assert bench.ask("OUTP? CH2") == "OFF"
    assert bench.ask("CH1:VOLT?") == "5.000"
    volts, amps, watts = (float(text) for text in bench.ask("MEAS:ALL? CH1").split(","))
    assert volts == pytest.approx(5.0, abs=0.013)
    assert amps == pytest.approx(0.5, abs=0.011)
    assert watts == pytest.approx(volts * amps, abs=0.0006)
    assert int(bench.ask("SYST:STAT?"), 16) & 0b110011 == 0b010000  # output 1 on, nothing limited
    assert bench.errors() == []


def test_the_status_word_tells_the_outputs_apart() -> None:
    """Output 2 in its current limit is bit 1, on is bit 5."""
    bench = Bench()
    bench.say("APPL CH2,5.0,0.1", "OUTP CH2,ON")
    bench.clock.sleep(0.5)
    bench.ask("OUTP:MODE? CH2")
    bench.clock.sleep(0.5)
    assert bench.ask("OUTP:MODE? CH2") == "CC"
    assert int(bench.ask("SYST:STAT?"), 16) & 0b110011 == 0b100010


def test_what_comes_too_soon_is_lost_without_a_word() -> None:
    """Two messages in one breath: the second is not done, and no error says so."""
    bench = Bench()
    bench.say("CH1:VOLT 5.0")
    bench.clock.sleep(PACE / 2)
    bench.supply.receive(b"CH1:VOLT 7.0", True)
    assert bench.ask("CH1:VOLT?") == "5.000"
    assert bench.errors() == []


def test_a_protection_counts_only_when_it_is_armed() -> None:
    """The level alone trips nothing; armed it trips, says so, and keeps the output off until it is cleared."""
    bench = Bench()
    bench.say("OUTP:OVP:VAL CH1,4.0", "CH1:VOLT 5.0", "OUTP CH1,ON")
    bench.clock.sleep(0.5)
    assert bench.ask("OUTP? CH1") == "ON"
    bench.say("OUTP:OVP CH1,ON")
    assert bench.ask("OUTP:OVP:QUES? CH1") == "YES"
    assert bench.loads.point(1).volts == 0.0
    bench.say("OUTP CH1,ON")
    assert bench.errors() == [-221]
    bench.say("CH1:VOLT 3.0", "OUTP:OVP:CLEAR CH1", "OUTP CH1,ON")
    assert bench.ask("OUTP:OVP:QUES? CH1") == "NO"
    assert bench.ask("OUTP? CH1") == "ON"


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("CH3:VOLT 5", -114),  # SCPI-1999 vol. 2, 21.8.9: header suffix out of range
        ("OUTP CH3,ON", -141),  # SCPI-1999 vol. 2, 21.8.9: invalid character data
        ("OUTP ON", -109),  # SCPI-1999 vol. 2, 21.8.9: missing parameter
        ("VOLT 5", -113),  # SCPI-1999 vol. 2, 21.8.9: undefined header
        ("CH1:VOLT 40", -222),  # SCPI-1999 vol. 2, 21.8.10: data out of range
    ],
)
def test_what_it_does_not_know_is_reported(message: str, number: int) -> None:
    """The lines of its cousins are refused, and nothing is set."""
    bench = Bench()
    bench.say(message)
    assert bench.errors() == [number]
    assert bench.ask("CH1:VOLT?") == "0.000"
