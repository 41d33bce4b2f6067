"""What a line is while others say that it is driven; delays and counts between two lines of a capture."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.signals.families import family
from autobench.signals.selected import Telling, delays_between, falls_while, while_selected
from autobench.signals.trace import Trace

LS = family("LS")
INTERVAL = 20e-9
PERIOD, LOW = 50, 20  # samples of an access, and of its select


def trace(volts: NDArray[np.float64]) -> Trace:
    """Volts as a capture."""
    return Trace(volts, INTERVAL)


def select(count: int, offset: int = 10) -> NDArray[np.float64]:
    """A select that is low for `LOW` samples of every `PERIOD`."""
    phase = (np.arange(count * PERIOD) - offset) % PERIOD
    return np.where(phase < LOW, 0.2, 3.4)


def told(volts: NDArray[np.float64], level: str = "low") -> Telling:
    """A line that tells."""
    return Telling(trace(volts), LS, level)


def driven(bits: NDArray[np.int64], rest: float) -> NDArray[np.float64]:
    """A line that has one bit an access, some samples after the select falls, and `rest` volts otherwise."""
    line = np.full(bits.size * PERIOD, rest)
    for number, bit in enumerate(bits):
        begin = number * PERIOD + 15
        line[begin : number * PERIOD + 10 + LOW] = 3.5 if bit else 0.2
    return line


def test_a_driven_line_is_at_a_level_in_every_access() -> None:
    """What it does between the accesses does not count, nor what it does before the part has answered."""
    bits = np.tile([0, 1, 1, 0, 1], 20)
    found = while_selected(trace(driven(bits, 1.5)), LS, [told(select(100))])
    assert found.accesses == 100
    assert (found.low, found.high, found.between) == pytest.approx((0.4, 0.6, 0.0))


def test_a_line_nobody_drives_is_between_the_levels() -> None:
    """An LS input that nothing drives rests near 1.4 V (common practice)."""
    found = while_selected(trace(np.full(100 * PERIOD, 1.45)), LS, [told(select(100))])
    assert found.between == 1.0
    assert found.at_level == 0.0


def test_only_accesses_that_every_telling_line_means_count() -> None:
    """With a second line that is high in every other access, half of them are left."""
    second = np.repeat(np.tile([0.2, 3.4], 50), PERIOD)
    found = while_selected(trace(driven(np.ones(100, np.int64), 1.5)), LS, [told(select(100)), told(second, "high")])
    assert found.accesses == 50


def test_an_access_cut_by_the_record_does_not_count() -> None:
    """The last access has no end in the record."""
    volts = select(10)[: 9 * PERIOD + 15]
    found = while_selected(trace(np.full(volts.size, 3.5)), LS, [told(volts)])
    assert found.accesses == 9


def test_lines_of_two_captures_are_refused() -> None:
    """Only what was captured together can be compared."""
    with pytest.raises(ValueError, match="one capture"):
        while_selected(trace(np.zeros(10)), LS, [told(np.zeros(20))])


def test_a_delay_is_the_time_from_fall_to_fall() -> None:
    """CAS five samples after RAS: 100 ns, within one sample."""
    ras, cas = select(50), np.roll(select(50), 5)
    found = delays_between(trace(ras), trace(cas), (LS, LS))
    assert found.typical == pytest.approx(5 * INTERVAL, abs=INTERVAL)
    assert found.least <= found.typical <= found.most
    assert found.count >= found.starts - 1


def test_a_line_that_never_falls_has_no_delay() -> None:
    """A strobe that is missing gives no delays at all."""
    found = delays_between(trace(select(50)), trace(np.full(50 * PERIOD, 3.4)), (LS, LS))
    assert found.count == 0


def test_falls_are_counted_by_what_another_line_says_then() -> None:
    """Refreshes are the RAS pulses of every second access."""
    tells = np.repeat(np.tile([0.2, 3.4], 25), PERIOD)
    assert falls_while(trace(select(50)), LS, told(tells)) == 25
