"""The counters K-1 and K-2 by their own commands: what an input is set to, how they gate, and how each says nothing."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.counter_arming import ArmingCounter
from simulated_instruments.devices.counter_configured import ConfiguredCounter
from simulated_instruments.devices.counter_gate import GateCounter
from tests.drivers.square import Square

K1 = "*RST|:INP1:COUP DC|:EVEN1:LEV 0.14|:FREQ:ARM:STOP:SOUR TIM|:FREQ:ARM:STOP:TIM 0.1"
K2 = "*RST|CONF:FREQ DEF,DEF,(@1)|INP1:COUP DC|INP1:PROB 10|INP1:LEV 1.4|SYST:TIM 1"


class Bench:
    """A counter on a wave of 0.2 V and 3.8 V, behind a probe that divides by ten."""

    def __init__(self, make: type[GateCounter], setup: str, wave: Square | None = None) -> None:
        self.clock = SimulatedClock()
        self.clock.sleep(2.0)
        self.counter = make("counter", self.clock, wave or Square(rate=3.5e6), seed=5)
        self.counter.time_error = 0.0
        for text in setup.split("|"):
            self.send(text)

    def send(self, text: str) -> bytes:
        """The reply to one message, without its terminator."""
        self.counter.receive(text.encode("ascii"), True)
        pending = self.counter.reply()
        if pending is None:
            return b""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.counter.take()
        return data.removesuffix(b"\n")

    def error(self) -> int:
        return int(self.send("SYST:ERR?").split(b",")[0])


@pytest.mark.parametrize(("make", "setup"), [(ArmingCounter, K1), (ConfiguredCounter, K2)])
def test_a_rate_is_counted_within_the_resolution(make: type[GateCounter], setup: str) -> None:
    """3.5 MHz to a few parts in a thousand million in a tenth of a second, which it takes."""
    bench = Bench(make, setup)
    began = bench.clock.now()
    assert float(bench.send("READ?")) == pytest.approx(3.5e6, rel=2e-8)
    assert 0.1 <= bench.clock.now() - began < 0.2


def test_numbers_as_they_are_written() -> None:
    """Three digits of exponent on one, two on the other."""
    assert Bench(ArmingCounter, K1).send("READ?").endswith(b"E+006")
    assert Bench(ConfiguredCounter, K2).send("READ?").endswith(b"E+06")


def test_one_waits_for_ever_where_nothing_crosses_the_level() -> None:
    """No reply; once it is cleared it counts again."""
    bench = Bench(ArmingCounter, K1 + "|:EVEN1:LEV 1.4")  # at the connector: 14 V at the tip
    assert bench.send("READ?") == b""
    bench.counter.device_clear()
    bench.send(":EVEN1:LEV 0.14")
    assert float(bench.send("READ?")) > 0


def test_the_other_gives_up_and_answers_with_no_number() -> None:
    """9.91E37 after its own time-out; with 9.9E37 for that it waits for ever too."""
    bench = Bench(ConfiguredCounter, K2 + "|INP1:LEV 4.9")
    began = bench.clock.now()
    assert float(bench.send("READ?")) == 9.91e37  # SCPI-1999 vol. 1, 7.2.1.5: not a number
    assert bench.clock.now() - began == pytest.approx(1.0, abs=0.1)
    bench.send("SYST:TIM 9.9E37")
    assert bench.send("READ?") == b""


def test_what_is_told_to_be_expected_must_be_near() -> None:
    """Within a tenth; further off there is no number (manuals of this dialect)."""
    assert float(Bench(ArmingCounter, K1 + "|:FREQ:EXP1 3.6E6").send("READ?")) == pytest.approx(3.5e6)
    assert float(Bench(ArmingCounter, K1 + "|:FREQ:EXP1 4E6").send("READ?")) == 9.91e37


def test_configuring_sets_the_level_back() -> None:
    """What was set before it is gone: the level is chosen anew, and misses a wave that is up for 3 % of the time."""
    narrow = Square(rate=1e6, duty=0.03)
    assert float(Bench(ConfiguredCounter, K2, narrow).send("READ?")) == pytest.approx(1e6)
    bench = Bench(ConfiguredCounter, K2 + "|CONF:FREQ (@1)", narrow)
    assert bench.send("INP1:LEV:AUTO?") == b"1"
    assert float(bench.send("READ?")) == 9.91e37


def test_the_gate_of_the_other_takes_no_channel() -> None:
    """-108 with one (SCPI-1999 vol. 2, 21.8: parameter not allowed)."""
    bench = Bench(ConfiguredCounter, K2)
    bench.send("SENS:FREQ:GATE:TIME 0.1,(@1)")
    assert bench.error() == -108
    bench.send("SENS:FREQ:GATE:TIME 1")
    began = bench.clock.now()
    bench.send("READ?")
    assert bench.clock.now() - began == pytest.approx(1.0, abs=0.1)


def test_a_level_follows_the_probe_that_was_told() -> None:
    """1.4 V at the tip are 0.14 V at the connector; without a probe told they would be 14 V at the tip."""
    bench = Bench(ConfiguredCounter, K2)
    assert float(bench.send("INP1:LEV?")) == pytest.approx(1.4)
    bench.send("INP1:PROB 1")
    assert float(bench.send("INP1:LEV?")) == pytest.approx(0.14)
    bench.send("INP1:LEV 1.4")
    assert float(bench.send("READ?")) == 9.91e37


@pytest.mark.parametrize(
    ("setting", "counts"),
    [
        (":INP1:FILT ON", False),  # 100 kHz
        (":INP1:IMP 50", False),  # behind nine megohms nothing is left
        (":INP1:COUP AC", True),  # 1.4 V above the mean still lie below the high level
    ],
)
def test_an_input_set_otherwise(setting: str, counts: bool) -> None:
    """What a filter, a terminator or a coupling does to what is counted."""
    reply = Bench(ArmingCounter, f"{K1}|{setting}").send("READ?")
    found = float(reply) if reply else 9.91e37
    assert (found == pytest.approx(3.5e6)) is counts


def test_a_cousins_words_are_refused() -> None:
    """Each knows its own way of setting an input, and not the other's."""
    one, other = Bench(ArmingCounter, K1), Bench(ConfiguredCounter, K2)
    one.send("INP1:LEV 1.4")
    other.send(":EVEN1:LEV 0.14")
    assert (one.error(), other.error()) == (-113, -113)


def test_a_level_out_of_reach_is_refused() -> None:
    """±5.125 V at the connector, ten times that with the attenuator."""
    bench = Bench(ArmingCounter, K1)
    bench.send(":EVEN1:LEV 6")
    assert bench.error() == -222  # SCPI-1999 vol. 2, 21.8.9: data out of range
    bench.send(":INP1:ATT 10;:EVEN1:LEV 6")
    assert bench.error() == 0
