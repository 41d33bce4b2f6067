"""Video sync against the numbers of the two broadcast standards and of home computers."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.trace import Trace
from autobench.signals.video import Content, find_video

LINE_50, LINE_60 = 64e-6, 1.001 / 15750  # ITU-R BT.470: 15 625 Hz and 4.5 MHz/286
Pulse = tuple[float, float]


def sync_pulses(
    line: float, half_lines: int, fields: int, group: int, broad: float, short: float, width: float = 4.7e-6
) -> list[Pulse]:
    """Start and width of every pulse: `group` equalising, broad and equalising half lines a field, lines between."""
    pulses = []
    for half in range(half_lines * fields):
        place = half % half_lines
        start = half * line / 2.0
        if place < 3 * group:
            pulses.append((start, broad if group <= place < 2 * group else short))
        elif half % 2 == 0:
            pulses.append((start, width))
    return pulses


def home_pulses(line: float, lines: int, fields: int, long: int = 4) -> list[Pulse]:
    """One long pulse of whole lines a field and plain line syncs, as simple counters make it."""
    pulses = []
    for number in range(lines * fields):
        if number % lines == 0:
            pulses.append((number * line, long * line - 4.7e-6))
        elif number % lines >= long:
            pulses.append((number * line, 4.7e-6))
    return pulses


def drawn(
    pulses: list[Pulse],
    line: float,
    interval: float,
    sync: float = 0.3,
    picture: float = 0.0,
    border: float = 0.0,
    first: int = 40,
    every: int = 1,
    edge: float = 0.2e-6,
) -> NDArray[np.float64]:
    """Composite volts, sync tip at 0: `picture` volts in three bars on lines from `first`, `border` evenly beside."""
    total = pulses[-1][0] + line
    corners: list[Pulse] = [(-1e-6, sync)]
    for number, (start, width) in enumerate(pulses):
        corners += [(start, sync), (start + edge, 0.0), (start + width, 0.0), (start + width + edge, sync)]
        room = (pulses[number + 1][0] if number + 1 < len(pulses) else total) - start
        if width > 5e-6 or room < 0.9 * line or number < first:
            continue
        if border:
            corners += lit(start + 12e-6, start + 61e-6, sync, border, edge)
        elif picture and number % every == 0:
            for bar in (18e-6, 30e-6, 44e-6):
                corners += lit(start + bar, start + bar + 6e-6, sync, picture, edge)
    places, volts = np.array(corners).T
    return np.asarray(np.interp(np.arange(0, total, interval), places, volts), np.float64)


def lit(start: float, end: float, sync: float, above: float, edge: float) -> list[Pulse]:
    """Corners of one bright stretch."""
    return [(start, sync), (start + edge, sync + above), (end, sync + above), (end + edge, sync)]


def captured(volts: NDArray[np.float64], interval: float, noise: float = 0.5, seed: int = 3) -> Trace:
    """As an 8-bit converter sees it, `noise` in steps of a tenth more than the range."""
    step = float(np.ptp(volts)) * 1.2 / 256
    codes = (volts - volts.min()) / step + 20 + np.random.default_rng(seed).normal(0, noise, volts.size)
    return Trace(np.clip(np.rint(codes), 0, 255).astype(np.uint8), interval, step=step, reference=20.0)


def test_625_line_signal() -> None:
    """An interlaced 625-line signal with a picture: rates, widths, lines a field, sync amplitude, termination."""
    pulses = sync_pulses(LINE_50, 625, 3, 5, 27.3e-6, 2.35e-6)  # ITU-R BT.470: 5/5/5 half lines
    found = find_video(captured(drawn(pulses, LINE_50, 1e-7, picture=0.7), 1e-7))
    assert found.content is Content.PICTURE
    assert found.line_rate is not None
    assert found.line_rate.value == pytest.approx(15_625, rel=2e-6)  # ITU-R BT.470
    assert found.field_rate is not None
    assert found.field_rate.value == pytest.approx(50.0, rel=2e-5)  # ITU-R BT.470
    assert found.lines_a_field == 312.5  # ITU-R BT.470
    assert found.interlaced is True
    assert found.line_sync_width == pytest.approx(4.7e-6, abs=0.05e-6)  # ITU-R BT.470
    assert found.broad_width == pytest.approx(27.3e-6, abs=0.05e-6)  # ITU-R BT.470
    assert found.equalising_width == pytest.approx(2.35e-6, abs=0.05e-6)  # ITU-R BT.470
    assert found.sync_amplitude == pytest.approx(0.3, abs=0.01)  # ITU-R BT.470: 300 mV on 75 Ω
    assert found.termination == "terminated"


def test_525_line_signal() -> None:
    """An interlaced 525-line signal without picture: its own rates and widths."""
    pulses = sync_pulses(LINE_60, 525, 3, 6, 27.1e-6, 2.3e-6)  # ITU-R BT.1700: 6/6/6 half lines
    found = find_video(captured(drawn(pulses, LINE_60, 1e-7, sync=0.286), 1e-7))
    assert found.content is Content.SYNC_ONLY
    assert found.line_rate is not None
    assert found.line_rate.value == pytest.approx(15_734.2657, rel=2e-6)  # ITU-R BT.1700, 4.5 MHz/286
    assert found.field_rate is not None
    assert found.field_rate.value == pytest.approx(59.94006, rel=2e-5)  # ITU-R BT.1700, 60/1.001
    assert found.lines_a_field == 262.5  # ITU-R BT.1700
    assert found.broad_width == pytest.approx(27.1e-6, abs=0.05e-6)  # ITU-R BT.1700
    assert found.sync_amplitude == pytest.approx(0.286, abs=0.01)  # ITU-R BT.1700: 40 IRE of 140


@pytest.mark.parametrize(
    ("lines", "line_rate", "field_rate"),
    [
        (312, 15_625.0, 50.080128),  # 13.5 MHz/864/312
        (313, 15_625.0, 49.920128),  # line rate over lines
        (311, 15_625.0, 50.241158),  # line rate over lines
        (312, 3_500_000 / 224, 50.080128),  # 224 clocks × 312 lines at 3.5 MHz: 3.5e6/69888
        (263, 1_022_727 / 65, 59.8260895),  # 65 cycles × 263 lines at 1 022 727 Hz
        (262, 3_579_545 / 228, 59.92275),  # 228 colour clocks × 262 lines
        (312, 3_546_894 / 228, 49.86076),  # 228 colour clocks × 312 lines
        (262, 53_693_175 / 15 / 228, 59.922743),  # 342 pixels × 262 lines
        (313, 53_203_424 / 15 / 228, 49.701459),  # 342 pixels × 313 lines
        (312, 985_248 / 63, 50.124542),  # 63 cycles × 312 lines at 985 248 Hz
        (262, 14_318_180 / 912, 59.922751),  # 14.318 18 MHz/912/262
        (262, 15_734.266, 60.054449),  # line rate over lines
        (263, 15_734.266, 59.826105),  # line rate over lines
    ],
)
@pytest.mark.parametrize("positive", [False, True])
def test_home_computer_sync(lines: int, line_rate: float, field_rate: float, positive: bool) -> None:
    """A separate sync line of either polarity without interlace has whole lines a field and the field rate for them."""
    line = 1.0 / line_rate
    volts = drawn(home_pulses(line, lines, 3), line, 2.5e-7, sync=3.2, edge=0.05e-6)
    trace = Trace(3.4 - volts if positive else volts + 0.2, 2.5e-7)
    found = find_video(trace, separate=True)
    assert found.content is Content.SYNC_ONLY
    assert found.lines_a_field == lines
    assert found.interlaced is False
    assert found.line_rate is not None
    assert found.line_rate.value == pytest.approx(line_rate, rel=5e-6)
    assert found.field_rate is not None
    assert found.field_rate.value == pytest.approx(field_rate, rel=2e-5)
    assert abs(found.field_rate.value - field_rate) < 3 * found.field_rate.uncertainty
    assert found.line_sync_width == pytest.approx(4.7e-6, abs=0.2e-6)
    assert found.sync_amplitude == pytest.approx(3.2, abs=0.01)
    assert found.termination is None


@pytest.mark.parametrize(
    ("scale", "words"),
    [(1.0, "terminated"), (2.0, "unterminated"), (2.0 / 3.0, "terminated twice"), (1.5, "unclear"), (3.3, "unclear")],
)
def test_termination(scale: float, words: str) -> None:
    """A 75 Ω source doubles without its termination and falls to two thirds with a second one."""
    volts = drawn(home_pulses(LINE_50, 312, 1), LINE_50, 2e-7, picture=0.7) * scale
    found = find_video(captured(volts, 2e-7))
    assert found.termination == words  # voltage divider of 75 Ω
    assert found.sync_amplitude == pytest.approx(0.3 * scale, abs=0.02 * scale)


def test_sparse_text_is_a_picture() -> None:
    """A dark screen with one line of text on it carries a picture."""
    volts = drawn(home_pulses(LINE_50, 312, 2), LINE_50, 2e-7, picture=0.6, every=40)
    assert find_video(captured(volts, 2e-7)).content is Content.PICTURE


def test_even_border_is_no_picture() -> None:
    """A screen lit evenly from side to side carries none, however bright."""
    volts = drawn(home_pulses(LINE_50, 312, 2), LINE_50, 2e-7, border=0.7)
    found = find_video(captured(volts, 2e-7))
    assert found.content is Content.SYNC_ONLY
    assert found.sync_amplitude == pytest.approx(0.3, abs=0.02)


def test_offset_does_not_matter() -> None:
    """A composite signal on any direct voltage reads the same."""
    volts = drawn(home_pulses(LINE_50, 312, 1), LINE_50, 2e-7, picture=0.7) - 1.7
    found = find_video(Trace(volts, 2e-7))
    assert found.sync_amplitude == pytest.approx(0.3, abs=1e-3)


def test_few_lines_have_no_field() -> None:
    """A trace of ten lines gives the line rate and says nothing of fields."""
    volts = drawn([(number * LINE_50, 4.7e-6) for number in range(10)], LINE_50, 2e-8)
    found = find_video(Trace(volts, 2e-8))
    assert found.line_rate is not None
    assert found.line_rate.value == pytest.approx(15_625, rel=1e-5)
    assert (found.field_rate, found.lines_a_field, found.broad_width) == (None, None, None)


def test_line_rate_interval_holds() -> None:
    """Over random phases of the samples the line rate lies within its 95 % interval nearly always."""
    generator = np.random.default_rng(8)
    held = 0
    for seed in range(60):
        line = LINE_50 * (1 + generator.uniform(-1e-3, 1e-3))
        first = generator.uniform(1e-6, 5e-6)
        shifted = [(start + first, width) for start, width in home_pulses(line, 100, 1)]
        interval = 4e-7 * generator.uniform(0.9, 1.1)
        found = find_video(captured(drawn(shifted, line, interval), interval, seed=seed))
        assert found.line_rate is not None
        held += abs(found.line_rate.value - 1 / line) < 2 * found.line_rate.uncertainty
    assert held >= 54


@pytest.mark.parametrize("separate", [False, True])
def test_no_sync(separate: bool) -> None:
    """Flat lines, noise and slow hum carry no sync."""
    noise = np.random.default_rng(6).normal(0.0, 0.02, 50_000)
    hum = 0.5 * np.sin(np.arange(50_000) / 50_000 * 2 * math.pi)
    for volts in (np.zeros(50_000), noise, hum, hum + noise):
        found = find_video(Trace(volts, 1e-6), separate=separate)
        assert found.content is Content.NO_SYNC
        assert found.line_rate is None
