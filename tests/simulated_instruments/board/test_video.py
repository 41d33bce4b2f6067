"""Sync and picture against the standards' arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board import video
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.signals import Signals, VideoTiming
from simulated_instruments.board.tolerance import Tolerance


def logic(board: str) -> Signals:
    signals = read_circuit(circuit_path(board)).signals
    assert signals is not None
    return signals


def timing_of(board: str) -> tuple[VideoTiming, float]:
    """The board's timing and the frequency of its clock."""
    signals = logic(board)
    return signals.video, signals.master / signals.ratio(signals.video.clock)


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_line_and_field_rate_are_those_of_a_non_interlaced_625_line_system(board: str) -> None:
    """64 µs a line, 312 lines, so 50.080 fields a second."""
    timing, hertz = timing_of(board)
    assert timing.line / hertz == pytest.approx(64e-6, rel=1e-12)  # BT.470: 15 625 Hz
    assert hertz / timing.field == pytest.approx(50.080128, rel=1e-7)  # 15 625 Hz / 312


def test_composite_sync_has_line_and_broad_pulses() -> None:
    """309 line pulses of 4.7 µs and five broad ones of 27.3 µs a field."""
    timing, hertz = timing_of("tarnbeck-8")
    edges, codes = video.composite_sync(timing)
    lows = (np.diff(np.append(edges, timing.field + edges[0])) / hertz)[codes == 0]
    lines, broad = lows[lows < 10e-6], lows[lows > 10e-6]
    assert (lines.size, broad.size) == (309, 5)
    assert lines == pytest.approx(4.7e-6, abs=0.1e-6)  # BT.1700: 4.7 µs ± 0.1 µs
    assert broad == pytest.approx(27.3e-6, abs=0.1e-6)  # BT.470
    starts = edges[codes == 0] / hertz
    assert np.diff(starts[5:]) == pytest.approx(64e-6)  # BT.470
    assert np.diff(starts[:5]) == pytest.approx(32e-6)  # BT.470: broad pulses come twice a line


def test_separate_syncs_are_mixed_so_that_lines_go_on_through_the_field_sync() -> None:
    """The output's edges keep the line rate inside the field sync, where the pulses are inverted."""
    timing, hertz = timing_of("pellin-600")
    edges, low = video.separate(video.line_sync(timing), video.field_sync(timing), timing)
    period = float(timing.field)
    lengths = np.diff(np.append(edges, period + edges[0])) / hertz
    share = float(lengths[low == 0].sum()) / (period / hertz)
    field = timing.field_lines / timing.lines
    pulse = timing.pulse / timing.line
    assert share == pytest.approx(field * (1 - pulse) + (1 - field) * pulse)
    assert edges.size == 2 * timing.lines


@pytest.mark.parametrize("content", [video.NOISE, video.TEXT, video.STRIPES])
@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_the_picture_stays_out_of_the_sync_and_has_white_in_it(board: str, content: str) -> None:
    """Dots lie between the sync pulses; the composite signal has sync, black and white."""
    timing, _ = timing_of(board)
    dots = video.picture(timing, content, np.random.default_rng(1))
    sync = video.composite_sync(timing)
    white = dots[0][dots[1] == 1]
    assert (video.code_at(sync, white) == 1).all()
    assert (white % timing.line > timing.pulse).all()
    assert set(video.composite(sync, dots)[1].tolist()) == {0, 1, 2}


def test_composite_levels_spread_about_the_standard() -> None:
    """Sync 0.30 V below blanking and white 1.0 V into 75 Ω, within a few per cent from board to board."""
    whites = [video.composite_palette(Tolerance(seed)).volts(video.COMPOSITE_WHITE) for seed in range(50)]
    blanks = [video.composite_palette(Tolerance(seed)).volts(video.COMPOSITE_BLACK) for seed in range(50)]
    assert np.mean(whites) == pytest.approx(1.0, abs=0.03)  # BT.470: 1 V peak to peak
    assert np.mean(blanks) == pytest.approx(0.30, abs=0.01)  # BT.470: 43/143 of it
    assert 0.02 < np.std(whites) < 0.06


def test_an_unprogrammed_controller_is_silent_or_runs_to_the_end_of_its_count() -> None:
    """About half show nothing, most others a 256th of the character clock, none the programmed rate."""
    rates = [video.unprogrammed_line(750e3, Tolerance(seed)) for seed in range(400)]
    assert 0.4 < np.mean([rate == 0.0 for rate in rates]) < 0.6  # from memory
    assert 0.27 < np.mean([rate == pytest.approx(2929.6875) for rate in rates]) < 0.43  # 750 kHz / 256
    assert all(abs(rate / 15625.0 - 1.0) > 0.02 for rate in rates)
