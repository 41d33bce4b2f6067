"""The meter M-2 by its own words: functions, ranges, speeds, formats, errors."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.meter_short_words import ShortWordsMeter
from tests.drivers.meetings import Source


class Bench:
    """The meter on a source, spoken to with an END flag."""

    def __init__(self) -> None:
        self.clock, self.source = SimulatedClock(), Source(5.0, 50.0)
        self.meter = ShortWordsMeter("meter", self.clock, self.source, seed=5)

    def send(self, text: str) -> str:
        """The reply to one message, without its terminator."""
        self.meter.receive(text.encode("ascii"), True)
        pending = self.meter.reply()
        if pending is None:
            return ""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.meter.take()
        return data.decode("ascii").removesuffix("\r\n")


@pytest.fixture
def bench() -> Bench:
    return Bench()


def test_functions_ranges_and_speeds(bench: Bench) -> None:
    """Words set, questions tell (common practice); a range by number is a fixed one."""
    assert (bench.send("FUNC1?"), bench.send("AUTO?")) == ("VDC", "1")
    bench.send("RANGE 3")
    assert (bench.send("RANGE1?"), bench.send("AUTO?")) == ("3", "0")
    bench.send("OHMS")
    assert bench.send("FUNC1?") == "OHMS"
    bench.send("RATE F")
    assert bench.send("RATE?") == "F"


@pytest.mark.parametrize(("rate", "seconds"), [("S", 0.4), ("M", 0.2), ("F", 0.05)])
def test_readings_take_their_time(bench: Bench, rate: str, seconds: float) -> None:
    """2.5, 5 and 20 readings a second (common practice), settling and parsing besides."""
    bench.send("RANGE 3")
    bench.send(f"RATE {rate}")
    before = bench.clock.now()
    bench.send("MEAS1?")
    assert seconds <= bench.clock.now() - before <= seconds + 0.05


def test_formats(bench: Bench) -> None:
    """Plain numbers, or with units beside them."""
    bench.send("RANGE 3")
    assert float(bench.send("MEAS1?")) == pytest.approx(5.0, rel=1e-3)
    bench.send("FORMAT 2")
    number, unit = bench.send("MEAS1?").split()
    assert (float(number), unit) == (pytest.approx(5.0, rel=1e-3), "VDC")
    bench.send("OHMS")
    assert bench.send("MEAS1?").split()[1] == "OHMS"
    assert bench.source.driven > 0.0


def test_an_overload_is_a_number_of_its_own(bench: Bench) -> None:
    """Beyond a fixed range the reading is 1E+9, with its sign (common practice)."""
    bench.send("RANGE 1")
    assert bench.send("MEAS1?") == "+1E+9"
    bench.source.emf = -5.0
    assert bench.send("MEAS1?") == "-1E+9"


def test_autoranging_finds_the_range(bench: Bench) -> None:
    """Left to itself it goes down from 30 V until the reading fills a tenth of the range."""
    bench.send("AUTO")
    bench.source.emf = 2.0
    assert float(bench.send("MEAS1?")) == pytest.approx(2.0, rel=1e-3)
    assert bench.send("RANGE1?") == "2"


@pytest.mark.parametrize(("text", "event"), [("HELLO", 32), ("RANGE 9", 16), ("CONF:VOLT:DC 10", 32), ("RATE", 32)])
def test_errors_show_in_the_event_register(bench: Bench, text: str, event: int) -> None:
    """Without a queue, the class of the error is all there is: command 32, execution 16 (IEEE 488.2 11.5.1)."""
    bench.send("*CLS")
    assert bench.send(text) == ""
    assert bench.send("SYST:ERR?") == ""
    bench.send("*CLS")
    bench.send(text)
    assert bench.send("*ESR?") == str(event)
    assert bench.send("*ESR?") == "0"
