"""The scope O-2 by its own commands: headers, position in divisions, probe gain, out-preamble, curve, events."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.protocols.blocks import BlockReader
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.scope_out_preamble import OutPreambleScope
from tests.drivers.square import Square


class Bench:
    """The scope on a square wave of 0.2 V and 3.8 V, its replies without headers."""

    def __init__(self, setup: str = "") -> None:
        self.clock = SimulatedClock()
        self.clock.sleep(2.0)
        self.scope = OutPreambleScope("scope", self.clock, Square(), seed=5)
        for text in ("HEAD OFF", "CH1:PRO:GAIN 0.1", "CH1:SCA 1", "HOR:SCA 2E-6", *setup.split("|")):
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

    def told(self, text: str) -> float:
        return float(self.send(text))

    def capture(self) -> NDArray[np.int8]:
        """A single acquisition, as codes with their signs."""
        for text in ("TRIG:A:LEV:CH1 1.4", "TRIG:A:MOD NORM", "ACQ:STOPA SEQ;STATE ON"):
            self.send(text)
        self.clock.sleep(0.1)
        assert self.send("ACQ:STATE?") == b"0"
        reader = BlockReader()
        reader.feed(self.send("CURV?"), end=True)
        return np.frombuffer(reader.data, dtype=np.int8)

    def volts(self, codes: NDArray[np.int8]) -> NDArray[np.float64]:
        """V = (code - YOFF) x YMULT + YZERO (manuals of this dialect)."""
        step, zero, off = (self.told(f"WFMO:{field}?") for field in ("YMU", "YOF", "YZE"))
        return (codes.astype(float) - zero) * step + off


@pytest.mark.parametrize(
    ("setup", "middle"),
    [
        ("", 0.0),
        ("CH1:POS -2.5", 2.5),  # divisions of 1 V, down
        ("CH1:OFFS 2.5", 2.5),
        ("CH1:POS -1|CH1:OFFS 1.5", 2.5),
        ("CH1:SCA 2|CH1:POS -1", 2.0),  # a division is 2 V now
    ],
)
def test_position_and_offset_add_up(setup: str, middle: float) -> None:
    """By the preamble's own numbers the wave has its two levels, wherever its zero is, and nought is the middle."""
    bench = Bench(setup)
    volts = bench.volts(bench.capture())
    assert np.percentile(volts, 20) == pytest.approx(0.2, abs=0.25)
    assert np.percentile(volts, 90) == pytest.approx(3.8, abs=0.25)
    assert bench.volts(np.zeros(1, np.int8))[0] == pytest.approx(
        middle, abs=0.021
    )  # it is made in whole codes of 40 mV


def test_a_position_stays_in_divisions_when_the_scale_changes() -> None:
    """It is where the trace is on the screen; an offset stays in volts."""
    bench = Bench("CH1:POS -2|CH1:OFFS 0.5|CH1:SCA 2")
    assert (bench.told("CH1:POS?"), bench.told("CH1:OFFS?")) == (-2.0, 0.5)
    bench.send("CH1:POS -99")
    assert bench.told("CH1:POS?") == -5.0  # made the most there is, without a word
    assert bench.send("*ESR?") == b"128"  # power on, and no error


def test_a_gain_is_one_by_the_attenuation() -> None:
    """0.1 for a probe that divides by ten: the scale at the tip follows, that at the connector does not."""
    bench = Bench()
    assert bench.told("CH1:SCA?") == 1.0
    bench.send("CH1:PRO:GAIN 1")
    assert bench.told("CH1:SCA?") == pytest.approx(0.1)
    assert bench.told("CH1:PRO:GAIN?") == 1.0


def test_replies_have_headers_until_told_otherwise() -> None:
    """As switched on each reply repeats the long form of its question; common commands never do."""
    bench = Bench()
    bench.send("*RST")
    assert bench.send("CH1:SCA?") == b":CH1:SCALE 1.000000E+00"
    assert bench.send("ACQ:STOPA?") == b":ACQUIRE:STOPAFTER RUNSTOP"
    assert bench.send("*IDN?").startswith(b"ALDER STREET,O-2,")
    bench.send("HEAD OFF")
    assert bench.send("CH1:SCA?") == b"1.000000E+00"


def test_events_are_told_only_after_the_status_was_read() -> None:
    """Until `*ESR?` the events wait; it clears itself, and then they are read with their numbers."""
    bench = Bench()
    bench.send("*CLS")
    bench.send("NONSENSE 1")
    assert bench.send("ALLEV?").startswith(b"1,")
    assert bench.send("*ESR?") == b"32"  # IEEE 488.2 11.5.1: bit 5 is a command error
    assert bench.send("ALLEV?").startswith(b'113,"Undefined header')
    assert bench.send("ALLEV?").startswith(b"0,")
    assert bench.send("SYST:ERR?") == b""  # there is no such queue
    bench.send("*ESR?")


def test_a_channel_that_is_not_shown_has_no_waveform() -> None:
    """No reply at all, and an event that says why."""
    bench = Bench()
    bench.capture()
    bench.send("*CLS")
    bench.send("DAT:SOU CH2")
    assert bench.send("WFMO:YMU?") == b""
    assert bench.send("CURV?") == b""
    assert int(bench.send("*ESR?")) & 8  # device-dependent
    assert b"2244" in bench.send("ALLEV?")


def test_a_stop_beyond_the_record_is_its_end() -> None:
    """Nothing is said; the points of the preamble are those that are sent."""
    bench = Bench("HOR:RECO 1000|DAT:STOP 1000000")
    assert bench.capture().size == 1000
    assert bench.told("WFMO:NR_P?") == 1000
    bench.send("DAT:STAR 11;STOP 20")
    assert bench.told("WFMO:NR_P?") == 10


def test_both_encodings_mean_the_same_volts() -> None:
    """With signs, or from nought up with the zero line 128 higher."""
    bench = Bench("CH1:POS -2.5")
    signed = bench.capture()
    volts = bench.volts(signed)
    bench.send("DAT:ENC RPB")
    reader = BlockReader()
    reader.feed(bench.send("CURV?"), end=True)
    unsigned = np.frombuffer(reader.data, dtype=np.uint8)
    zero = bench.told("WFMO:YOF?")
    assert np.array_equal(unsigned.astype(int) - 128, signed.astype(int))
    assert (unsigned.astype(float) - zero) * bench.told("WFMO:YMU?") == pytest.approx(volts, abs=1e-6)


def test_the_whole_preamble_has_its_fields_in_order() -> None:
    """Sixteen fields between semicolons, a quoted text among them."""
    bench = Bench()
    bench.capture()
    fields = bench.send("WFMO?").decode("ascii").split(";")
    assert len(fields) == 16
    assert fields[:5] == ["1", "8", "BIN", "RI", "MSB"]
    assert fields[5].startswith('"Ch1, DC coupling, 1.000V/div')
    assert fields[7:9] == ["Y", '"s"']
    assert float(fields[9]) * (float(fields[11])) == pytest.approx(-float(fields[10]))  # nought at the trigger


def test_states_and_forcing() -> None:
    """It waits for a trigger that does not come, is forced, and stands."""
    bench = Bench("TRIG:A:LEV:CH1 4.9|TRIG:A:MOD NORM|ACQ:STOPA SEQ;STATE ON")
    bench.clock.sleep(0.1)
    assert (bench.send("TRIG:STATE?"), bench.send("BUSY?")) == (b"READY", b"1")
    bench.send("TRIG FORC")
    bench.clock.sleep(0.1)
    assert (bench.send("TRIG:STATE?"), bench.send("BUSY?")) == (b"SAVE", b"0")
    bench.send("*CLS")
    bench.send("TRIG FORC")
    assert int(bench.send("*ESR?")) & 16  # IEEE 488.2 11.5.1: execution error
