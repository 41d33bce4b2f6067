"""Records of the preamble-and-data oscilloscope: preamble, blocks, formats, and what its converter does to a signal."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

Build = Callable[..., Any]  # a builder of conftest.py


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("offset", [0.0, -2.5, 1.5])
def test_preamble_gives_volts_at_any_offset(
    captured: Build, pulse: Build, volts_class: Build, seed: int, offset: float
) -> None:
    """A steady 2 V reads 2 V by the preamble, wherever the trace was moved to."""
    bench = captured(pulse(2.0, 2.001, width=1.0), f":CHAN1:OFFS {offset}", ":TRIG:SWE AUTO", seed=seed)
    bench.say(":TFOR")
    bench.clock.sleep(0.01)
    preamble, codes = bench.record()
    assert preamble.y_origin == round(offset * 25)  # common practice: 25 codes a division
    assert abs(preamble.volts(codes).mean() - 2.0) <= volts_class(1.0)  # 2 % of full scale + 0.1 div + 2 mV
    # A positive offset moves the trace up (common practice), so codes go up with it.
    assert abs(codes.mean() - (preamble.y_reference + 25 * (2.0 + offset))) < 10


def test_times_of_the_preamble_are_those_of_the_signal(captured: Build, sine: Build, volts_class: Build) -> None:
    """The trigger is at time 0 of the preamble, and a sine comes out with its phase and size."""
    bench = captured(sine(0.0, 3.0, 1e3), ":TIM:SCAL 5E-4", ":TIM:OFFS 1E-3", ":TRIG:EDGE:SOUR CHAN1")
    preamble, codes = bench.record()
    assert preamble.x_origin == pytest.approx(1e-3 - 6 * 5e-4)  # common practice: six divisions left of the middle
    assert preamble.points * preamble.x_step == pytest.approx(12 * 5e-4)  # common practice: twelve divisions
    expected = 3.0 * np.sin(2 * math.pi * 1e3 * preamble.times())
    assert np.abs(preamble.volts(codes) - expected).max() < volts_class(1.0)
    assert abs(np.corrcoef(preamble.volts(codes), expected)[0, 1] - 1) < 1e-3


def test_chunks_make_the_same_record(captured: Build, sine: Build) -> None:
    """Reading in chunks of any size gives the bytes of one read, and reading again gives them again."""
    bench = captured(sine(0.0, 2.0, 3.7e3), ":TIM:SCAL 1E-3", ":ACQ:MDEP 100000")
    _, whole = bench.record()
    _, chunks = bench.record(chunk=7_001)
    assert len(whole) == 100_000
    assert np.array_equal(whole, chunks)
    assert bench.error() == 0


@pytest.mark.parametrize(("form", "most"), [("BYTE", 250_000), ("WORD", 125_000), ("ASC", 15_625)])
def test_one_read_brings_so_much_at_most(captured: Build, sine: Build, form: str, most: int) -> None:
    """The most points of one read are those of the format; one more is an error with an empty block."""
    bench = captured(sine(0.0, 2.0, 3.7e3), ":TIM:SCAL 1E-3", ":ACQ:MDEP 1000000")
    bench.say(":WAV:MODE RAW", f":WAV:FORM {form}")
    data = bench.block(1, most)  # common practice
    if form == "ASC":
        assert data.count(b",") == most - 1
    else:
        assert len(data) == most * (2 if form == "WORD" else 1)
    assert bench.error() == 0
    assert bench.block(1, most + 1) == b""
    assert bench.error() == -222  # SCPI-1999 vol. 2, 21.8: data out of range


def test_three_formats_say_the_same(captured: Build, sine: Build) -> None:
    """Bytes, little-endian words and text are the same record."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 1E-3")
    preamble, codes = bench.record()
    bench.say(":WAV:FORM WORD")
    assert np.array_equal(np.frombuffer(bench.block(1, 500), "<u2"), codes[:500])  # common practice: low byte first
    bench.say(":WAV:FORM ASC")
    text = np.array([float(part) for part in bench.block(1, 500).split(b",")])
    assert text == pytest.approx(preamble.volts(codes[:500]), abs=1e-6)


def test_block_has_nine_digits_and_a_line_feed(captured: Build, sine: Build) -> None:
    """A block begins with `#9` and nine digits, and a line feed follows it."""
    bench = captured(sine(0.0, 2.0, 1e3))
    bench.say(":WAV:MODE RAW", ":WAV:STAR 1", ":WAV:STOP 100")
    raw = bench.ask_bytes(":WAV:DATA?")
    assert raw.startswith(b"#9000000100")  # IEEE 488.2, 8.7.9, with all nine digits as common practice has it
    assert raw.endswith(b"\n")
    assert len(raw) == 11 + 100 + 1


def test_screen_has_1200_points(captured: Build, sine: Build, volts_class: Build) -> None:
    """In the normal mode a hundredth of a division goes from point to point, whatever the memory holds."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 1E-3", ":ACQ:MDEP 100000")
    bench.say(":WAV:MODE NORM")
    preamble = bench.preamble()
    assert (preamble.type, preamble.points) == (0, 1200)  # common practice
    assert preamble.x_step == pytest.approx(1e-3 / 100)  # common practice
    codes = np.frombuffer(bench.block(1, 1200), np.uint8)
    expected = 2.0 * np.sin(2 * math.pi * 1e3 * preamble.times())
    assert np.abs(preamble.volts(codes) - expected).max() < volts_class(1.0)


def test_converter_clips_at_its_ends(captured: Build, sine: Build) -> None:
    """What is beyond the converter stays at its first or last code."""
    bench = captured(sine(0.0, 9.0, 1e3), ":TIM:SCAL 1E-3")
    preamble, codes = bench.record()
    assert (codes.min(), codes.max()) == (0, 255)  # 8 bits, unsigned
    assert np.mean(codes == 255) > 0.2
    assert preamble.volts(codes).max() == pytest.approx(128 / 25)  # 255 - 127 codes of 40 mV
    assert np.mean((codes > 0) & (codes < 255)) > 0.2


@pytest.mark.parametrize(("factor", "divider", "shown"), [(10, 10.0, 2.0), (1, 10.0, 0.2), (10, 1.0, 20.0)])
def test_probe_factor_scales_what_is_shown(
    scope_bench: Build, pulse: Build, factor: int, divider: float, shown: float
) -> None:
    """A factor that is not that of the probe reads ten times too much or too little."""
    bench = scope_bench(pulse(2.0, 2.001, width=1.0))
    bench.scope.converter.dividers[1] = divider
    bench.say(f":CHAN1:PROB {factor}", f":CHAN1:SCAL {shown / 2}", ":SING")
    bench.clock.sleep(0.1)
    bench.say(":TFOR")
    bench.clock.sleep(0.1)
    preamble, codes = bench.record()
    assert preamble.volts(codes).mean() == pytest.approx(shown, rel=0.1)
    assert bench.terminals.input_ohms == 1e6 * divider  # common practice: 1 Mohm, and 10 Mohm with a x10 probe


def test_reset_takes_the_probe_factor_back(scope_bench: Build) -> None:
    """After `*RST` the factor is 1, and what it scales goes with it."""
    bench = scope_bench()
    bench.say(":CHAN1:SCAL 0.5", ":CHAN1:PROB 10")
    assert bench.number(":CHAN1:SCAL?") == pytest.approx(5.0)
    bench.say("*RST")
    assert bench.number(":CHAN1:PROB?") == 1
    assert bench.ask(":TRIG:SWE?") == "AUTO"
    assert bench.state() != "STOP"


def test_alternating_coupling_takes_the_mean_off(captured: Build, sine: Build, volts_class: Build) -> None:
    """With AC coupling a sine about 2.5 V stands about 0 V, and triggers there."""
    bench = captured(sine(2.5, 1.0, 1e3), ":TIM:SCAL 1E-3", ":CHAN1:COUP AC", ":TRIG:EDGE:LEV 0")
    assert bench.state() == "STOP"
    preamble, codes = bench.record()
    assert abs(preamble.volts(codes).mean()) < volts_class(1.0)
    assert np.ptp(preamble.volts(codes)) > 1.8


def test_bandwidth_limit_is_a_low_pass(captured: Build, sine: Build) -> None:
    """The limit takes a sine at its corner frequency to 0.71 and leaves a slow one alone."""
    sizes = []
    for hertz in (20e6, 1e5):
        bench = captured(
            sine(0.0, 3.0, hertz), f":TIM:SCAL {1 / hertz}", ":CHAN1:BWL 20M", ":TRIG:EDGE:LEV 0", ":ACQ:MDEP 1000"
        )
        preamble, codes = bench.record()
        sizes.append(float(np.std(preamble.volts(codes))) * math.sqrt(2) / 3.0)
    assert sizes[0] == pytest.approx(math.sqrt(0.5), abs=0.08)  # a single pole at its corner
    assert sizes[1] == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("seed", range(6))
def test_time_base_is_inside_its_class(captured: Build, sine: Build, seed: int) -> None:
    """A frequency measured over many periods is right within 25 parts in a million, and is not exact."""
    bench = captured(sine(0.0, 3.0, 1e6), ":TIM:SCAL 2E-3", ":ACQ:MDEP 1000000", seed=seed)
    preamble, codes = bench.record()
    volts, times = preamble.volts(codes), preamble.times()
    halves = [volts[:12_000], volts[-12_000:]]
    starts = [times[:12_000], times[-12_000:]]
    turns = [
        np.angle(np.sum(part * np.exp(-2j * math.pi * 1e6 * time))) for part, time in zip(halves, starts, strict=True)
    ]
    drift = float(turns[1] - turns[0] + math.pi) % (2 * math.pi) - math.pi
    off = drift / (2 * math.pi * 1e6 * float(starts[1].mean() - starts[0].mean()))
    assert 1e-8 < abs(off) < 25e-6


def test_noise_does_not_depend_on_the_order(scope_bench: Build, sine: Build) -> None:
    """The first acquisition of a channel is the same whichever channel is read before it; the second one differs."""
    records = []
    for order in ((1, 2), (2, 1)):
        bench = scope_bench(sine(0.0, 2.0, 1e3), sine(0.0, 2.0, 1e3))
        bench.set(1)
        bench.set(2)
        bench.say(":ACQ:MDEP 10000", ":TIM:SCAL 1E-3")
        bench.single()
        found = {channel: bench.record(channel)[1] for channel in order}
        bench.single()
        records.append((found, bench.record(1)[1]))
    (first, again), (second, _) = records
    assert all(np.array_equal(first[channel], second[channel]) for channel in (1, 2))
    assert not np.array_equal(first[1], again)
    assert not np.array_equal(first[1], first[2])


def test_noise_is_about_a_code(captured: Build, pulse: Build) -> None:
    """A steady input shows noise of half a code to one code."""
    bench = captured(pulse(0.013, 4.0, start=50.0))
    bench.say(":TFOR")
    bench.clock.sleep(0.1)
    _, codes = bench.record()
    assert 0.5 <= float(np.std(codes)) <= 1.0


def test_averaging_takes_noise_off(captured: Build, sine: Build) -> None:
    """The mean of sixteen acquisitions is quieter than one, and the preamble counts them."""
    bench = captured(
        sine(0.0, 2.0, 1e3), ":CHAN1:SCAL 1", ":ACQ:TYPE AVER", ":ACQ:AVER 16", ":TIM:SCAL 1E-4", seconds=1.0
    )
    assert bench.state() == "STOP"
    preamble, codes = bench.record()
    assert preamble.count == 16
    turn = 2 * math.pi * 1e3 * preamble.times()
    waves = np.stack([np.sin(turn), np.cos(turn), np.ones_like(turn)], axis=1)
    left = preamble.volts(codes) - waves @ np.linalg.lstsq(waves, preamble.volts(codes))[0]
    assert float(np.std(left)) < 0.45 / 25  # codes: quantisation alone has 0.29


def test_nothing_is_sampled_before_it_is_read(captured: Build, sine: Build) -> None:
    """Arming, waiting and asking for the state take no sample; each channel is sampled when it is read."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 1E-3")
    assert bench.state() == "STOP"
    assert bench.terminals.sampled == 0
    bench.record()
    assert bench.terminals.sampled == 1
    bench.record()
    assert bench.terminals.sampled == 1
