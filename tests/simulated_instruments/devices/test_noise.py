"""Seeded chance that does not depend on the order of draws."""

from __future__ import annotations

import hashlib
import statistics

import numpy as np

from simulated_instruments.devices.noise import ReadingNoise, generator, trait


def test_the_order_of_readings_changes_nothing() -> None:
    """The n-th reading at one place is the same whatever was read elsewhere in between."""
    alone, mixed = ReadingNoise(7), ReadingNoise(7)
    straight = [alone.draw("meter", "U1.27", "VOLT") for _ in range(3)]
    crossed = []
    for _ in range(3):
        mixed.draw("meter", "U2.1", "VOLT")
        crossed.append(mixed.draw("meter", "U1.27", "VOLT"))
    assert crossed == straight


def test_seeds_keys_and_repeats_all_matter() -> None:
    """Another seed, another key and the next reading each give another value."""
    noise = ReadingNoise(1)
    values = [noise.draw("a"), noise.draw("a"), noise.draw("b"), ReadingNoise(2).draw("a")]
    assert len(set(values)) == 4


def test_noise_is_standard_normal() -> None:
    """Over many readings the mean is nought and the deviation one."""
    noise = ReadingNoise(3)
    values = [noise.draw("x") for _ in range(2000)]
    assert abs(statistics.fmean(values)) < 4 / 2000**0.5  # four standard errors of the mean
    assert abs(statistics.stdev(values) - 1) < 4 / (2 * 2000) ** 0.5  # four standard errors of the deviation


def test_traits_last_and_stay_inside_their_class() -> None:
    """A specimen's error is the same every time it is asked for, and never beyond its bound."""
    found = [trait(seed, 0.005, "supply", 1, "volts") for seed in range(200)]
    assert found == [trait(seed, 0.005, "supply", 1, "volts") for seed in range(200)]
    assert max(map(abs, found)) <= 0.005
    assert max(found) > 0.004
    assert min(found) < -0.004


def test_the_generator_is_the_published_hash() -> None:
    """Keys are hashed with BLAKE2b and drawn with PCG64, so values are the same on every machine."""
    digest = hashlib.blake2b(b"5\x1fa\x1f1", digest_size=16).digest()  # RFC 7693
    expected = np.random.default_rng(int.from_bytes(digest, "big")).standard_normal()
    assert generator(5, "a", 1).standard_normal() == expected
