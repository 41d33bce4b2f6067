"""What a simulated oscilloscope works out by itself: its automatic measurements, and its automatic set-up.

Both are as good as those of real ones: a measurement takes what is on the screen for the truth, aliases included, and
the set-up knows nothing of what anybody wants to see. It reads no commands.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from simulated_instruments.devices.scope_preamble_data_converter import Acquisition, Codes, Converter
from simulated_instruments.devices.scope_preamble_data_setup import (
    CENTRE,
    CHANNELS,
    DIVISIONS_UP,
    LEAST_VOLTS,
    MOST_VOLTS,
    SCREEN_POINTS,
    TIME_SCALES,
    Input,
    Setup,
    Trigger,
    time_scale_for,
)
from simulated_instruments.devices.scope_preamble_data_waveform import trace

INVALID = "9.9E37"
LEAST_SWING = 10  # codes; less than this is called flat
HYSTERESIS = 0.2  # of the swing, about its middle
ITEMS = ("FREQuency", "PERiod", "VMAX", "VMIN", "VPP", "VAVG")
LOOK_BACK = 0.1  # s that the automatic set-up looks at
LEAST_SIGNAL = 0.005  # V at the connector; a channel with less is switched off
NEXT_EDGE = 1e-9  # s; an edge is not looked for nearer to the one before
SIGNAL_DIVISIONS = 4.0  # that a signal fills at most
VOLT_SCALES = tuple(float(f"{step}e{power}") for power in range(-3, 2) for step in (1, 2, 5))[:13]


def measured(item: str, acquisition: Acquisition | None, converter: Converter, channel: int) -> float | None:
    """One automatic measurement (s, Hz or V as shown) of a channel on the screen; None if it cannot be had."""
    if acquisition is None or not acquisition.setup.input(channel).displayed:
        return None
    setup, settings = acquisition.setup, acquisition.setup.input(channel)
    codes = trace(acquisition, converter, channel, whole=False)
    if item in ("FREQ", "PER"):
        period = period_near(codes, -setup.origin / setup.span * SCREEN_POINTS)
        seconds = None if period is None else period * setup.span / SCREEN_POINTS
        return seconds if item == "PER" or seconds is None else 1 / seconds
    low, high, mean = float(codes.min()), float(codes.max()), float(codes.mean())
    zero = settings.offset_codes + CENTRE
    value = {"VMAX": high - zero, "VMIN": low - zero, "VPP": high - low, "VAVG": mean - zero}[item]
    return value * settings.step * settings.probe


def period_near(codes: Codes, place: float) -> float | None:
    """Points from one rising edge to the next, for the pair whose middle is nearest to `place`."""
    edges = rising_edges(codes)
    if len(edges) < 2:
        return None
    nearest = int(np.argmin(np.abs((edges[1:] + edges[:-1]) / 2 - place)))
    return float(edges[nearest + 1] - edges[nearest])


def rising_edges(codes: Codes) -> NDArray[np.float64]:
    """Places (interpolated between points) where the trace goes up through the middle of its swing."""
    low, high = float(codes.min()), float(codes.max())
    if high - low < LEAST_SWING:
        return np.empty(0)
    middle, band = (low + high) / 2, HYSTERESIS * (high - low) / 2
    sides = np.where(codes > middle + band, 1, np.where(codes < middle - band, -1, 0))
    clear = np.flatnonzero(sides)
    ups = np.flatnonzero(np.diff(sides[clear]) > 0)
    before, after = clear[ups], clear[ups + 1]
    start, stop = codes[before].astype(np.float64), codes[after].astype(np.float64)
    return np.asarray(before + (after - before) * (middle - start) / (stop - start), np.float64)


def automatic_setup(setup: Setup, converter: Converter, start: float, stop: float) -> Setup:
    """The set-up after a look at [start, stop]: channels with a signal, each in a band of its own, three periods."""
    looks = {channel: look(converter, channel, max(start, stop - LOOK_BACK), stop) for channel in CHANNELS}
    alive = [channel for channel, (low, high) in looks.items() if high - low > LEAST_SIGNAL]
    chosen = Setup()
    for band, channel in enumerate(alive):
        middle_of_band = DIVISIONS_UP * (0.5 - (band + 0.5) / len(alive))
        divisions = min(SIGNAL_DIVISIONS, DIVISIONS_UP / len(alive))
        fitted = fit(setup.input(channel), *looks[channel], divisions, middle_of_band)
        chosen = chosen.with_input(channel, fitted)
    if not alive:
        return chosen
    chosen = chosen.with_input(1, replace(chosen.input(1), displayed=1 in alive))
    source = alive[0]
    level = sum(looks[source]) / 2 * setup.input(source).probe
    chosen = replace(chosen, trigger=Trigger(source=source, level=level))
    return chosen.with_time_scale(three_periods(converter, source, sum(looks[source]) / 2, start, stop))


def look(converter: Converter, channel: int, start: float, stop: float) -> tuple[float, float]:
    """Lowest and highest volts at the connector of a channel."""
    if stop <= start:
        return 0.0, 0.0
    edges = np.array([start, stop])
    lows, highs = converter.terminals.extremes(channel, edges, converter.input_ohms(channel))
    return float(lows[0]) / converter.dividers[channel], float(highs[0]) / converter.dividers[channel]


def fit(settings: Input, low: float, high: float, divisions: float, place: float) -> Input:
    """A channel's setting that shows `low` to `high` within so many divisions about `place` above the middle."""
    wanted = min(max((high - low) / divisions, LEAST_VOLTS), MOST_VOLTS)
    volts = next(scale for scale in VOLT_SCALES if wanted <= scale * (1 + 1e-6))
    fresh = Input(displayed=True, probe=settings.probe)
    return replace(fresh, offset=place * volts - (low + high) / 2).scaled(volts)


def three_periods(converter: Converter, channel: int, level: float, start: float, stop: float) -> float:
    """The time base that shows about three periods; a middling one if nothing repeats."""
    tip = level * converter.dividers[channel]
    first = converter.terminals.crossing(channel, tip, True, max(start, stop - LOOK_BACK), stop)
    second = None if first is None else converter.terminals.crossing(channel, tip, True, first + NEXT_EDGE, stop)
    if first is None or second is None or second <= first:
        return 1e-3
    return time_scale_for(min(max((second - first) * 3 / 12, TIME_SCALES[0]), TIME_SCALES[-1]))
