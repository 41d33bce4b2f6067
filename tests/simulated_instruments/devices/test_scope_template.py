"""The scopes O-3a and O-3b by their own commands: headers with units, descriptor, signed codes, states, double ends."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.scope_screen_scaled import ScreenScaledScope
from simulated_instruments.devices.scope_template import TemplateScope
from tests.drivers.square import Square


class Bench:
    """A scope on a square wave of 0.2 V and 3.8 V."""

    def __init__(self, make: type[TemplateScope], setup: str = "") -> None:
        self.clock = SimulatedClock()
        self.clock.sleep(2.0)
        self.scope = make("scope", self.clock, Square(), seed=5)
        for text in ("C1:ATTN 10", "C1:VDIV 1V", "C1:OFST -2.5V", "TDIV 2US", *setup.split("|")):
            self.send(text)

    def send(self, text: str) -> bytes:
        """The whole reply to one message."""
        self.scope.receive(text.encode("ascii"), True)
        pending = self.scope.reply()
        if pending is None:
            return b""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.scope.take()
        return data

    def single(self) -> None:
        for text in ("TRSE EDGE,SR,C1", "C1:TRLV 1.4V", "C1:TRSL POS", "TRMD SINGLE"):
            self.send(text)
        self.clock.sleep(0.1)
        assert self.send("TRMD?").endswith(b"STOP\n")


MAKES = [TemplateScope, ScreenScaledScope]


@pytest.mark.parametrize("make", MAKES)
def test_replies_have_header_and_unit_until_told_otherwise(make: type[TemplateScope]) -> None:
    """`C1:VDIV 5.00E-01V` as switched on (manuals of this dialect), the bare number afterwards."""
    bench = Bench(make, "C1:VDIV 0.5")
    assert bench.send("C1:VDIV?") == b"C1:VDIV 5.00E-01V\n"
    assert bench.send("TDIV?") == b"TDIV 2.00E-06S\n"
    bench.send("CHDR OFF")
    assert bench.send("C1:VDIV?") == b"5.00E-01\n"
    assert bench.send("C1:VDIV?;C1:OFST?;TDIV?") == b"5.00E-01;-2.50E+00;2.00E-06\n"  # headers stand for themselves


def test_a_sample_rate_comes_with_a_prefix() -> None:
    """`500MSa/s` on the budget one, whether replies have headers or not; a plain number on the other."""
    budget = Bench(ScreenScaledScope, "CHDR OFF|MSIZ 14K")
    assert budget.send("SARA?") == b"500MSa/s\n"  # computed: 14 000 points in fourteen divisions of 2 us
    other = Bench(TemplateScope, "CHDR OFF|MSIZ 10K")
    assert other.send("SARA?") == b"5.00E+08\n"


@pytest.mark.parametrize("low_first", [False, True])
def test_the_descriptor_tells_what_the_codes_mean(low_first: bool) -> None:
    """V = gain x code - offset, t = first + i x interval, at the places of the template (manuals of this dialect)."""
    bench = Bench(TemplateScope, f"CHDR OFF|CORD {'LO' if low_first else 'HI'}|MSIZ 1K")
    bench.single()
    data = bench.send("C1:WF? DESC")
    assert data.startswith(b"ALL,#9000000346WAVEDESC")
    body = data[data.index(b"#") + 11 :][:346]
    order = "<" if low_first else ">"
    assert struct.unpack_from(order + "H", body, 34)[0] == int(low_first)
    gain, offset, interval = (struct.unpack_from(order + "f", body, place)[0] for place in (156, 160, 176))
    (first,) = struct.unpack_from(order + "d", body, 180)
    assert struct.unpack_from(order + "i", body, 116)[0] == 1000
    assert gain == pytest.approx(0.04)  # computed: 1 V a division, 25 codes
    assert interval == pytest.approx(20e-9)  # computed: ten divisions of 2 us, 1000 points
    assert first == pytest.approx(-10e-6)
    sent = bench.send("C1:WF? DAT1")
    assert sent.endswith(b"\n\n")
    codes = np.frombuffer(sent[sent.index(b"#") + 11 :][:1000], dtype=np.int8).astype(float)
    volts = gain * codes - offset
    assert np.percentile(volts, 20) == pytest.approx(0.2, abs=0.25)
    assert np.percentile(volts, 90) == pytest.approx(3.8, abs=0.25)


def test_the_budget_one_tells_no_gain_of_a_code() -> None:
    """Its field has the volts of a division; codes are 25 to each, counted in two's complement."""
    bench = Bench(ScreenScaledScope, "MSIZ 7K")
    bench.single()
    data = bench.send("C1:WF? DESC")
    assert data.startswith(b"C1:WF ALL,#9000000346WAVEDESC")
    body = data[data.index(b"#") + 11 :][:346]
    assert struct.unpack_from(">f", body, 156)[0] == pytest.approx(1.0)
    sent = bench.send("C1:WF? DAT2")
    codes = np.frombuffer(sent[sent.index(b"#") + 11 :][:7000], dtype=np.int8).astype(float)
    volts = codes * 1.0 / 25.0 + 2.5  # V = code x VDIV / 25 - OFST
    assert np.percentile(volts, 20) == pytest.approx(0.2, abs=0.25)
    assert np.percentile(volts, 90) == pytest.approx(3.8, abs=0.25)


@pytest.mark.parametrize("make", MAKES)
def test_a_part_of_a_record(make: type[TemplateScope]) -> None:
    """Every so many points, so many of them, from a first one."""
    bench = Bench(make, "CHDR OFF|MSIZ 7K")
    bench.single()
    whole = bench.send("C1:WF? DAT1")
    whole = whole[whole.index(b"#") + 11 : -2]
    bench.send("WFSU SP,2,NP,10,FP,100,SN,0")
    part = bench.send("C1:WF? DAT1")
    assert part[part.index(b"#") + 11 : -2] == whole[100:120:2]
    bench.send("*CLS")
    bench.send("WFSU SP")
    assert int(bench.send("*ESR?")) & 32  # IEEE 488.2 11.5.1: command error


@pytest.mark.parametrize("make", MAKES)
def test_every_channel_keeps_its_level_and_slope(make: type[TemplateScope]) -> None:
    """What was set for another channel counts once that is the source."""
    bench = Bench(make, "CHDR OFF|C2:TRLV 0.7|C2:TRSL NEG|C1:TRLV 1.4")
    assert (bench.send("C1:TRLV?"), bench.send("C2:TRLV?")) == (b"1.40E+00\n", b"7.00E-01\n")
    assert (bench.scope.setup.trigger.level, bench.scope.setup.trigger.slope) == (1.4, "POS")
    bench.send("TRSE EDGE,SR,C2")
    assert (bench.scope.setup.trigger.level, bench.scope.setup.trigger.slope) == (0.7, "NEG")


def test_a_register_tells_once_what_happened() -> None:
    """Ready for a trigger, then a new signal; each is forgotten when it was read."""
    bench = Bench(TemplateScope, "CHDR OFF|TRSE EDGE,SR,C1|C1:TRLV 4.9|TRMD SINGLE")
    bench.send("INR?")
    bench.send("TRMD SINGLE")
    bench.clock.sleep(0.1)
    assert int(bench.send("INR?")) & (1 << 13)
    assert int(bench.send("INR?")) == 0
    bench.send("FRTR")
    bench.clock.sleep(0.1)
    assert int(bench.send("INR?")) & 1
    assert int(bench.send("INR?")) == 0
    assert bench.send("SAST?") == b""  # a word of its cousin


def test_the_budget_one_tells_its_state_in_words() -> None:
    """`Ready` while it waits, `Stop` afterwards."""
    bench = Bench(ScreenScaledScope, "TRSE EDGE,SR,C1|C1:TRLV 4.9|TRMD SINGLE")
    bench.clock.sleep(0.1)
    assert bench.send("SAST?") == b"SAST Ready\n"
    bench.send("FRTR")
    bench.clock.sleep(0.1)
    assert bench.send("SAST?") == b"SAST Stop\n"
    assert bench.send("CORD?") == b""  # a word of its cousin
