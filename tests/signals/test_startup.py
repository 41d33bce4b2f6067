"""Reset pulses and the order of events against closed forms of an RC charge."""

import math

import numpy as np
import pytest

from autobench.signals.families import family
from autobench.signals.startup import (
    Event,
    find_reset,
    find_rise,
    first_crossing,
    movements,
    order_of_events,
    same_time,
)
from autobench.signals.trace import Trace

CONSTANT = 10e3 * 10e-6  # 10 kΩ, 10 µF
INTERVAL = 1e-4
TIMES = np.arange(0, 1.0, INTERVAL) - 0.1
NMOS = family("NMOS")


def charge(start: float = 0.0) -> Trace:
    """A capacitor charged to 5 V from `start` on."""
    volts = np.where(start <= TIMES, 5.0 * (1 - np.exp(-(TIMES - start) / CONSTANT)), 0.0)
    return Trace(volts, INTERVAL, start=-0.1)


def step(at: float = 0.0, high: float = 5.0) -> Trace:
    """A level that steps up between two samples."""
    return Trace(np.where(at - INTERVAL / 2 > TIMES, 0.0, high), INTERVAL, start=-0.1)


@pytest.mark.parametrize(
    ("volts", "milliseconds"), [(0.8, 17.435), (1.7, 41.552), (2.0, 51.083), (10 / 3, 109.861), (3.1606, 100.0)]
)
def test_rc_charge(volts: float, milliseconds: float) -> None:
    """The crossing of each level is RC·ln(V/(V − v)), to a hundredth of a sample."""
    found = first_crossing(charge(), volts)
    assert found is not None
    assert found * 1e3 == pytest.approx(milliseconds, abs=2e-3)  # closed form


def test_rc_discharge() -> None:
    """A discharge from 5 V to 0.4 V takes RC·ln 12.5."""
    volts = np.where(TIMES < 0, 5.0, 5.0 * np.exp(-TIMES / CONSTANT))
    found = first_crossing(Trace(volts, INTERVAL, start=-0.1), 0.4, rising=False)
    assert found is not None
    assert found * 1e3 == pytest.approx(252.57, abs=0.01)  # closed form


def test_reset_by_rc() -> None:
    """A reset by RC: width from the rail's crossing to 2.0 V, and the slow way between the input levels."""
    found = find_reset(step(), charge(), 4.5, NMOS)
    assert found.rail_up_at == pytest.approx(0.0, abs=INTERVAL)
    assert found.width is not None
    assert found.width.value * 1e3 == pytest.approx(51.083, abs=0.1)  # closed form, RC·ln(5/3)
    assert abs(found.width.value - 51.083e-3) < 3 * found.width.uncertainty
    assert found.transition == pytest.approx((51.083 - 17.435) * 1e-3, abs=1e-5)  # closed form
    assert (found.releases, found.asserted, found.held) == (1, True, False)


def test_clean_reset_of_either_polarity() -> None:
    """A reset by a timer of 200 ms is found active low and active high."""
    low = step(0.2)
    high = Trace(np.where((TIMES > 0) & (TIMES < 0.2 - INTERVAL / 2), 5.0, 0.0), INTERVAL, start=-0.1)
    for reset, active_low in ((low, True), (high, False)):
        found = find_reset(step(), reset, 4.5, NMOS, active_low)
        assert found.width is not None
        assert found.width.value == pytest.approx(0.2, abs=INTERVAL)
        assert found.held is False


def test_reset_stuck() -> None:
    """A reset that never lets go is asserted and held, without a width."""
    found = find_reset(step(), Trace(np.zeros(TIMES.size), INTERVAL, start=-0.1), 4.5, NMOS)
    assert (found.width, found.released_at, found.asserted, found.held) == (None, None, True, True)


def test_reset_missing() -> None:
    """A reset line that rises with the rail never asserts once the rail is up."""
    rail = Trace(np.clip(TIMES * 100, 0.0, 5.0), INTERVAL, start=-0.1)
    found = find_reset(rail, rail, 4.5, NMOS)
    assert (found.width, found.asserted, found.held) == (None, False, False)


def test_reset_looping() -> None:
    """A watchdog's repeated resets are counted, with the first width and the last release."""
    volts = np.where(TIMES > 0.05, 5.0, 0.0)
    for again in (0.3, 0.6):
        volts[(again < TIMES) & (again + 0.1 > TIMES)] = 0.0
    found = find_reset(step(), Trace(volts, INTERVAL, start=-0.1), 4.5, NMOS)
    assert found.releases == 3
    assert found.width is not None
    assert found.width.value == pytest.approx(0.05, abs=2 * INTERVAL)
    assert found.last_release == pytest.approx(0.7, abs=2 * INTERVAL)


def test_rail_that_never_comes_up() -> None:
    """Without the rail there is no width, only when the line moved."""
    found = find_reset(step(high=4.2), step(0.2), 4.5, NMOS)
    assert (found.rail_up_at, found.width) == (None, None)
    assert found.released_at == pytest.approx(0.2, abs=INTERVAL)


def test_order_of_events() -> None:
    """Events come in order, those that never happen are left out, and near ones are not told apart."""
    nothing = Trace(np.zeros(TIMES.size), INTERVAL, start=-0.1)
    watched = {
        "reset released": (step(0.2), 2.0, True),
        "rail up": (step(), 4.5, True),
        "select": (nothing, 2.0, True),
        "clock": (step(0.03), 2.0, True),
    }
    events = order_of_events(watched)
    assert [event.name for event in events] == ["rail up", "clock", "reset released"]
    assert not same_time(events[0], events[1])
    assert same_time(Event("a", 0.0, 1e-3), Event("b", 1.5e-3, 1e-3))


def test_no_numbers() -> None:
    """A reset trace without numbers says nothing, and raises nothing."""
    found = find_reset(step(), Trace(np.full(TIMES.size, math.nan), INTERVAL), 4.5, NMOS)
    assert (found.width, found.asserted, found.held) == (None, False, False)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_plain_rise(sign: float) -> None:
    """An exponential rise takes ln 9 time constants, is monotonic and overshoots nothing, for either polarity."""
    slow = np.where(TIMES >= 0.0, 5.0 * (1 - np.exp(-TIMES / 20e-3)), 0.0)
    rise = find_rise(Trace(sign * slow, INTERVAL, start=-0.1), sign * 5.0)
    assert rise.duration == pytest.approx(math.log(9) * 20e-3, rel=1e-3)  # closed form, ln 9 · RC
    assert rise.monotonic
    assert rise.dip == 0.0
    assert rise.overshoot == pytest.approx(0.0, abs=1e-6)
    assert rise.sag == pytest.approx(0.5, abs=0.02)  # from 90 % on it is never below that


def test_noise_is_no_dip() -> None:
    """A noisy coded rise is still monotonic."""
    slow = np.where(TIMES >= 0.0, 5.0 * (1 - np.exp(-TIMES / 20e-3)), 0.0)
    codes = np.rint(slow / 0.03 + 30 + np.random.default_rng(2).normal(0.0, 1.0, slow.size))
    rise = find_rise(Trace(codes.astype(np.uint8), INTERVAL, step=0.03, reference=30.0, start=-0.1), 5.0)
    assert rise.monotonic
    assert rise.duration == pytest.approx(
        math.log(9) * 20e-3, rel=0.1
    )  # closed form, ln 9 · RC; noise brings the first 90 % forward


def test_a_fall_back_on_the_way_up_is_found() -> None:
    """A rail that falls back by 0.8 V on its way, as under a current limit, is not monotonic."""
    volts = np.interp(TIMES, [-0.1, 0.0, 0.02, 0.025, 0.05], [0.0, 0.0, 3.0, 2.2, 5.0])
    rise = find_rise(Trace(volts, INTERVAL, start=-0.1), 5.0)
    assert not rise.monotonic
    assert rise.dip == pytest.approx(0.8, abs=0.02)


def test_overshoot_and_sag() -> None:
    """How far beyond its final level a rail went and how far it fell again afterwards are told apart."""
    volts = np.interp(TIMES, [-0.1, 0.0, 0.02, 0.03, 0.2, 0.21, 0.22], [0.0, 0.0, 5.4, 5.0, 5.0, 3.9, 5.0])
    rise = find_rise(Trace(volts, INTERVAL, start=-0.1), 5.0)
    assert rise.overshoot == pytest.approx(0.4, abs=0.02)
    assert rise.sag == pytest.approx(1.1, abs=0.02)


def test_a_rail_that_never_comes() -> None:
    """Without a rise there are no times; a rail of 0 V is refused."""
    rise = find_rise(Trace(np.zeros(1000), INTERVAL), 5.0)
    assert (rise.begun_at, rise.done_at, rise.duration, rise.sag) == (None, None, None, None)
    with pytest.raises(ValueError, match="0 V"):
        find_rise(Trace(np.zeros(1000), INTERVAL), 0.0)


def test_movements_of_a_peak_detected_line_are_counted_a_pair_of_extremes() -> None:
    """High at rest, at both levels in every interval from 0.5 s on: nothing moves before, each pair counts after."""
    lowest, highest = np.full(1000, 4.0), np.full(1000, 4.0)
    lowest[500:] = 0.2
    line = Trace(np.stack([lowest, highest], axis=1).ravel(), 0.5e-3, peak_detect=True)
    assert movements(line, NMOS, 0.1, 0.49) == 0
    assert movements(line, NMOS, 0.6, 0.7) == pytest.approx(100, abs=1)
    assert movements(Trace(np.zeros(2000), 0.5e-3, peak_detect=True), NMOS, 0.0, 1.0) == 0
