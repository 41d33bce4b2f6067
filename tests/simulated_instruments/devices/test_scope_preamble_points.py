"""The scope O-1a by its own commands: preamble in volts, offset downward, thinned records, states as register bits."""

from __future__ import annotations

import numpy as np
import pytest

from autobench.protocols.blocks import BlockReader
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.scope_preamble_points import PreamblePointsScope
from tests.drivers.square import Square


class Bench:
    """The scope on a square wave, set for it."""

    def __init__(self, square: Square, setup: str) -> None:
        self.clock = SimulatedClock()
        self.clock.sleep(2.0)
        self.scope = PreamblePointsScope("scope", self.clock, square, seed=5)
        for text in setup.split("|"):
            self.send(text)

    def send(self, text: str) -> bytes:
        """The reply to one message, without its terminator."""
        self.scope.receive(text.encode("ascii"), True)
        pending = self.scope.reply()
        if pending is None:
            return b""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.scope.take()
        return data.removesuffix(b"\n")

    def preamble(self) -> list[float]:
        return [float(field) for field in self.send(":WAV:PRE?").split(b",")]

    def codes(self) -> np.ndarray:
        reader = BlockReader()
        reader.feed(self.send(":WAV:DATA?"), end=True)
        return np.frombuffer(reader.data, dtype=np.uint8)

    def error(self) -> int:
        return int(self.send(":SYST:ERR?").split(b",")[0])


SETUP = ":CHAN1:PROB 10|:CHAN1:SCAL 1|:TIM:SCAL 2E-6|:TRIG:LEV 1.4|:WAV:POIN:MODE RAW|:WAV:POIN 1000"


def captured(setup: str = SETUP, square: Square | None = None) -> Bench:
    """A bench with one single acquisition complete."""
    bench = Bench(square or Square(), setup)
    bench.send(":SING")
    bench.clock.sleep(0.1)
    return bench


@pytest.mark.parametrize("offset", [0.0, 2.5, -1.0])
def test_the_origin_is_in_volts(offset: float) -> None:
    """V = (code − y reference) · y increment + y origin (common practice), and the origin is the offset."""
    bench = captured(f"{SETUP}|:CHAN1:OFFS {offset}")
    fields = bench.preamble()
    assert fields[0] == 0  # BYTE
    assert fields[2] == 1000
    assert fields[8] == pytest.approx(offset, abs=0.0201)  # the converter makes it in whole codes of 40 mV
    assert fields[9] == 128
    volts = (bench.codes() - fields[9]) * fields[7] + fields[8]
    assert np.median(volts[volts < 2.0]) == pytest.approx(0.2, abs=0.3)  # 2 % of 8 V and a tenth of a division
    assert np.median(volts[volts > 2.0]) == pytest.approx(3.8, abs=0.3)
    assert bench.error() == 0


def test_a_positive_offset_moves_the_trace_down() -> None:
    """The offset is what is in the middle of the screen (common practice); two volts are fifty codes."""
    assert (
        captured(f"{SETUP}|:CHAN1:OFFS 2").codes().mean() < captured(SETUP).codes().mean() - 40
    )  # 25 codes a division


def test_clipped_codes() -> None:
    """Beyond the converter the codes end at 1 and 255; 0 is for holes (common practice)."""
    codes = captured(square=Square(low=-30.0, high=30.0)).codes()
    assert (codes.min(), codes.max()) == (1, 255)


def test_a_record_is_thinned_out_to_the_points_asked_for() -> None:
    """The memory is used whole; fewer points lie further apart over the same time."""
    bench = captured()
    rate = float(bench.send(":ACQ:SRAT?"))
    assert rate == pytest.approx(2e9)  # 40 000 points at the highest rate
    assert bench.send(":ACQ:POIN?") == b"40000"
    for points in (1000, 10_000):
        bench.send(f":WAV:POIN {points}")
        fields = bench.preamble()
        assert (fields[2], fields[4]) == (points, pytest.approx(20e-6 / points))
        assert bench.codes().size == points


def test_states_are_bits() -> None:
    """Operation condition: bit 3 while it runs, bit 5 while it waits for a trigger (common practice)."""
    bench = Bench(Square(), f"{SETUP}|:TRIG:LEV 4.5|:TRIG:SWE NORM|:SING")
    bench.clock.sleep(0.1)
    assert bench.send(":OPER:COND?") == b"40"
    bench.send(":TRIG:FORC")
    bench.clock.sleep(0.1)
    assert bench.send(":OPER:COND?") == b"0"
    assert [bench.send(":TER?") for _ in range(2)] == [b"1", b"0"]
    assert bench.error() == 0


def test_the_memory_is_read_only_when_stopped() -> None:
    """Else an empty block comes, and an error (SCPI-1999 vol. 2, 21.8.9: settings conflict)."""
    bench = Bench(Square(), f"{SETUP}|:RUN")
    bench.clock.sleep(0.1)
    assert bench.send(":WAV:DATA?") == b"#800000000"
    assert bench.error() == -221


@pytest.mark.parametrize("text", [":WAV:MODE RAW", ":ACQ:MDEP 1000", ":TFOR", ":WAV:STAR 1"])
def test_the_cousins_words_are_unknown(text: str) -> None:
    """What only O-1b knows is an undefined header here (SCPI-1999 vol. 2, 21.8.9)."""
    bench = Bench(Square(), SETUP)
    bench.send(text)
    assert bench.error() == -113


def test_words_have_two_bytes() -> None:
    """In WORD a point has two bytes, the high one first, and eight bits of it mean something."""
    bench = captured()
    bytes_ = bench.codes()
    bench.send(":WAV:FORM WORD")
    reader = BlockReader()
    reader.feed(bench.send(":WAV:DATA?"), end=True)
    assert (np.frombuffer(reader.data, dtype=">u2") >> 8 == bytes_).all()
    assert bench.preamble()[0] == 1
