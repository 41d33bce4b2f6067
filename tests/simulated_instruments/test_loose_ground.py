"""A probe without its ground: the signal rides on hum."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from simulated_instruments.benches.mains_hum import MainsHum
from simulated_instruments.board.waveform import Constant, search
from simulated_instruments.loose_ground import LooseGround

HUM = MainsHum(50.0, 0.5, 0.3)


class Square:
    """1 kHz between 0 V and 4 V, beginning high."""

    def samples(self, times: np.ndarray) -> np.ndarray:
        return np.where(np.remainder(times, 1e-3) < 0.5e-3, 4.0, 0.0)

    def extremes(self, edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        grid = self.samples(edges[:-1, None] + np.diff(edges)[:, None] * np.linspace(0.0, 1.0, 65))
        return grid.min(axis=1), grid.max(axis=1)

    def crossing(self, level: float, rising: bool, start: float, stop: float) -> float | None:
        return search(self, level, rising, start, stop)


def test_hum_is_added_to_every_sample() -> None:
    """What is seen is the net's volts and those of its ground against the scope's."""
    times = np.linspace(0.0, 0.05, 5001)
    assert LooseGround(Square(), HUM).samples(times) == pytest.approx(Square().samples(times) + HUM.samples(times))


@pytest.mark.parametrize("width", [0.1e-3, 2e-3, 30e-3])
def test_extremes_hold_every_sample(width: float) -> None:
    """Peak detection never shows less than the samples reach, and little more."""
    wave, edges = LooseGround(Square(), HUM), np.arange(0.0, 0.1, width)
    low, high = wave.extremes(edges)
    for place, (begin, end) in enumerate(pairwise(edges)):
        inside = wave.samples(np.linspace(begin, end, 400))
        assert low[place] <= inside.min() + 0.02
        assert high[place] >= inside.max() - 0.02
    assert low.min() >= -0.5 - 1e-9
    assert high.max() <= 4.5 + 1e-9


def test_edges_of_the_signal_are_found_where_they_are() -> None:
    """2 V are crossed by the square's own edges, whatever the hum does."""
    wave = LooseGround(Square(), HUM)
    assert wave.crossing(2.0, True, 0.0101, 0.02) == pytest.approx(0.011, abs=1e-6)
    assert wave.crossing(2.0, False, 0.0101, 0.02) == pytest.approx(0.0105, abs=1e-6)


def test_a_still_line_is_carried_across_a_level_by_the_hum() -> None:
    """1.3 V with half a volt of hum cross 1.5 V once a period, where the sine says."""
    wave = LooseGround(Constant(1.3), HUM)
    found = wave.crossing(1.5, True, 0.0, 0.1)
    assert found is not None
    exact = (np.arcsin(0.2 / 0.5) - 0.3) / (2.0 * np.pi * 50.0)  # 0.5·sin(2π·50·t + 0.3) = 0.2
    assert found == pytest.approx(exact if exact > 0.0 else exact + 0.02, abs=0.02 / 64)
    assert wave.crossing(1.9, True, 0.0, 0.1) is None
