"""Video in time: sync, picture and the composite signal of one field, and what a controller does before it is
programmed.

Numbers of clock periods in, edges and codes out; volts only for the composite. It knows no part.
"""

from __future__ import annotations

import numpy as np

from simulated_instruments.board.levels import Palette
from simulated_instruments.board.machine_cycles import ascending, from_low_spans
from simulated_instruments.board.signals import VideoTiming
from simulated_instruments.board.stepped import TEN_TO_NINETY, Codes
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.board.waveform import Array

Edges = tuple[Array, Codes]

# Composite levels into 75 Ω (V) and how far one specimen's amplifier is off (common practice).
SYNC_TIP, BLANK, WHITE = 0.0, 0.30, 1.0
GAIN_SPREAD = 0.05
SYNC_EDGE = 0.2e-6  # s, 10 % to 90 % (BT.470)
COMPOSITE_SYNC, COMPOSITE_BLACK, COMPOSITE_WHITE = 0, 1, 2

# What is on the screen.
NOISE, TEXT, STRIPES = "noise", "text", "stripes"

NETS = frozenset({"CSYNC", "HSYNC", "VSYNC", "PICTURE", "INT", "IRQ", "VIDEO"})


def composite_sync(timing: VideoTiming) -> Edges:
    """Line pulses, and broad pulses twice a line in the first two and a half lines (edges in clock periods, low =
    sync)."""
    half = timing.line / 2.0
    broad = np.arange(2 * timing.field_lines - 1, dtype=np.float64) * half
    lines = np.arange(timing.field_lines, timing.lines, dtype=np.float64) * timing.line
    spans = [(broad, broad + timing.broad), (lines, lines + timing.pulse)]
    return from_low_spans(spans, float(timing.field))


def line_sync(timing: VideoTiming) -> Edges:
    """One high pulse a line."""
    return np.array([0.0, timing.pulse]), np.array([1, 0])


def field_sync(timing: VideoTiming) -> Edges:
    """One high pulse a field, `field_lines` long."""
    return np.array([0.0, float(timing.field_lines * timing.line)]), np.array([1, 0])


def interrupt(timing: VideoTiming) -> Edges:
    """Low once a field, at its start."""
    return np.array([0.0, timing.interrupt]), np.array([0, 1])


def picture(timing: VideoTiming, content: str, generator: np.random.Generator) -> Edges:
    """The dots of one field, high = white. `content` is `noise` (memory as it came up), `text` or `stripes`."""
    wide = timing.wide * timing.dots
    bits = np.zeros((timing.tall, wide + 2), dtype=np.int64)
    bits[:, 1:-1] = dots(content, timing.tall, wide, generator)
    row, column = np.nonzero(np.diff(bits, axis=1))
    edges = (row + timing.top) * float(timing.line) + timing.first + column / timing.dots
    return ascending(edges, bits[row, column + 1])


def dots(content: str, tall: int, wide: int, generator: np.random.Generator) -> Codes:
    """The picture elements, one row a line."""
    if content == STRIPES:
        return np.tile(np.repeat([0, 1], 8), (tall, -(-wide // 16)))[:, :wide]
    if content == NOISE:
        cells = generator.integers(0, 2, (tall, -(-wide // 2)))
        return np.repeat(cells, 2, axis=1)[:, :wide]
    # A cleared screen with a few lines of text at the top: paper white, ink in cells of 8 by 8.
    bits = np.ones((tall, wide), dtype=np.int64)
    for row in range(3):
        count = int(generator.integers(6, 20)) * 8
        ink = generator.integers(0, 2, (6, count))
        bits[row * 16 + 1 : row * 16 + 7, 8 : 8 + count] = ink
    return bits


def composite(sync: Edges, dots_of: Edges) -> Edges:
    """Sync (low = sync) and picture together, as codes of `composite_palette`."""
    edges = np.unique(np.concatenate((sync[0], dots_of[0])))
    in_sync, white = code_at(sync, edges) == 0, code_at(dots_of, edges) == 1
    return edges, np.where(in_sync, COMPOSITE_SYNC, np.where(white, COMPOSITE_WHITE, COMPOSITE_BLACK))


def separate(lines: Edges, fields: Edges, timing: VideoTiming) -> Edges:
    """Line and field sync (high = sync) mixed as the output stage does it: within the field sync the line pulses
    invert."""
    starts = np.arange(timing.lines) * float(timing.line)
    many = np.concatenate([starts + edge for edge in lines[0]])
    codes = np.concatenate([np.full(timing.lines, code) for code in lines[1]])
    whole = ascending(many, codes)
    edges = np.unique(np.concatenate((whole[0], fields[0])))
    return edges, 1 - (code_at(whole, edges) ^ code_at(fields, edges))


def code_at(pattern: Edges, edges: Array) -> Codes:
    """What holds in `pattern` from each of `edges` on."""
    codes: Codes = pattern[1][np.searchsorted(pattern[0], edges, side="right") - 1]
    return codes


def composite_palette(tolerance: Tolerance) -> Palette:
    """Volts into 75 Ω of sync tip, black and white."""
    gain = tolerance.factor("video gain", GAIN_SPREAD)
    blank = BLANK * tolerance.factor("sync gain", GAIN_SPREAD)
    targets = np.array([SYNC_TIP, blank, blank + (WHITE - BLANK) * gain])
    return Palette(targets, np.full(3, SYNC_EDGE / TEN_TO_NINETY))


def unprogrammed_line(char_hertz: float, tolerance: Tolerance) -> float:
    """Rate (Hz) of the line sync of a 6845-type controller that nobody has programmed; 0 if it never moves.

    Its registers hold what they came up with: mostly nothing comes out or the count runs to its end.
    """
    share = tolerance.uniform("unprogrammed", 0.0, 1.0)
    if share < 0.50:
        return 0.0
    if share < 0.85:
        return char_hertz / 256.0
    return char_hertz / (1 + int(tolerance.uniform("unprogrammed count", 96.0, 240.0)))
