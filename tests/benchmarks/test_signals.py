"""What a full characterisation of ten million 8-bit samples costs, against one bare count of the same codes."""

from __future__ import annotations

import time
import tracemalloc
from collections.abc import Callable

import numpy as np
import pytest

from autobench.signals.families import family
from autobench.signals.trace import Trace
from autobench.signals.waveform import Waveform, characterise

pytestmark = pytest.mark.benchmark

SAMPLES = 10_000_000
INTERVAL = 4e-9
STEP = 0.02
FACTOR = 4.0  # times one pass of np.bincount
BYTES_A_SAMPLE = 6.0
BLOCK = 1 << 18


def codes_of(volts: Callable[[np.ndarray], np.ndarray]) -> Trace:
    """Ten million samples of `volts` (of sample numbers) with one step of noise, as an 8-bit converter sees them."""
    generator = np.random.default_rng(1)
    codes = np.empty(SAMPLES, np.uint8)
    for start in range(0, SAMPLES, BLOCK):
        numbers = np.arange(start, min(start + BLOCK, SAMPLES))
        noisy = volts(numbers) / STEP + 30.0 + generator.normal(0.0, 1.0, numbers.size)
        codes[start : start + BLOCK] = np.clip(np.rint(noisy), 0, 255)
    return Trace(codes, INTERVAL, step=STEP, reference=30.0)


def clock(numbers: np.ndarray) -> np.ndarray:
    """15 MHz with 10 ns transitions: 1.2 million edges, the most a sensible time base shows."""
    place = ((numbers * INTERVAL * 15e6 + 0.15) % 1.0 - 0.25) / 15e6  # seconds from the middle of the rise
    return 0.2 + 3.2 * np.clip(np.minimum(place, 1 / 30e6 - place) / 12.5e-9 + 0.5, 0.0, 1.0)


def strobe(numbers: np.ndarray) -> np.ndarray:
    """A strobe low for 200 ns now and then, every eighth of them fighting at 1.2 V."""
    slot, place = np.divmod(numbers, 200)
    hashed = (slot * 2654435761) % 4294967296
    active = (place < 50) & (hashed % 3 > 0)
    return np.where(active, np.where(hashed % 8 == 0, 1.2, 0.3), 3.5)


def least(*actions: Callable[[], object], runs: int = 15) -> list[tuple[float, float]]:
    """Least processor time and least wall time in seconds of each of `actions` over `runs`.

    They take turns, so that a processor that changes its pace does so under all of them.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in actions]
    for _ in range(runs):
        for action, own in zip(actions, taken, strict=True):
            began, wall = time.process_time(), time.perf_counter()
            action()
            own.append((time.process_time() - began, time.perf_counter() - wall))
    return [(min(spent for spent, _ in own), min(passed for _, passed in own)) for own in taken]


@pytest.mark.parametrize("shape", [clock, strobe])
def test_characterising_ten_million_samples(
    shape: Callable[[np.ndarray], np.ndarray], capsys: pytest.CaptureFixture[str]
) -> None:
    """Levels, edges, frequency, duty and activity in at most four counting passes and six bytes a sample.

    Both sides are measured in processor time, which other processes on the machine do not stretch; the bytes are the
    peak that Python's allocator saw beside the samples, plus the samples themselves.
    """
    trace = codes_of(shape)
    receiver = family("LS")

    def measure() -> Waveform:
        return characterise(trace, receiver=receiver)

    found = measure()
    assert found.activity is not None
    assert found.edges.count > 30_000
    (bare, bare_wall), (ours, ours_wall) = least(lambda: np.bincount(trace.samples, minlength=256), measure)
    tracemalloc.start()
    measure()
    peak = tracemalloc.get_traced_memory()[1] / SAMPLES + 1.0
    tracemalloc.stop()
    with capsys.disabled():
        print(
            f"\n{shape.__name__}: {1e3 * ours:.0f} ms, {ours / bare:.2f} x one count ({ours_wall / bare_wall:.2f} x on"
            f" the wall clock), at most {FACTOR} x; {peak:.1f} bytes a sample, at most {BYTES_A_SAMPLE}"
        )
    assert ours <= FACTOR * bare
    assert peak <= BYTES_A_SAMPLE
