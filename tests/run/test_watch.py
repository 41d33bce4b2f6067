"""The watch: when must a live output go off?"""

from __future__ import annotations

import math
from dataclasses import replace

from autobench.plan.limits import Limits
from autobench.plan.steps import Envelope, Feed
from autobench.quantity import Span
from autobench.run.watch import Look, limit_to_blame, must_go_off, never_right, sagged

FEED = Feed(
    rail="+5V",
    supply="supply",
    output=1,
    envelope=Envelope(5.25, 1.5, 5.5),
    nominal=5.0,
    volts=5.0,
    amps=1.0,
    trip=5.5,
    top_volts=5.25,
    leads=0.06,
    isolated_when_off=True,
    compensate=True,
    settle=5.0,
    current=Limits(Span(0.7, 0.84, "A"), "board file"),
    inlet=None,
)


def test_over_voltage_goes_off_at_once() -> None:
    """One look above the trip is enough: 5 V logic is destroyed in milliseconds."""
    assert "over-voltage" in (must_go_off(FEED, [Look(0.1, 5.6, 0.8, False)]) or "")


def test_a_good_board_stays_on() -> None:
    """Ordinary looks give no reason."""
    assert must_go_off(FEED, [Look(0.1 * i, 5.0, 0.78, False) for i in range(50)]) is None


def test_limiting_needs_150_ms_below_90_percent() -> None:
    """A short dip into limiting is inrush; one that lasts is a fault (common practice)."""
    short = [Look(0.0, 3.0, 1.0, True), Look(0.1, 3.0, 1.0, True), Look(0.2, 5.0, 0.8, False)]
    assert not sagged(short, 5.0)
    assert must_go_off(FEED, short) is None
    long = [Look(0.05 * i, 3.0, 1.0, True) for i in range(6)]
    assert sagged(long, 5.0)
    assert "limits" in (must_go_off(FEED, long) or "")


def test_limiting_above_90_percent_is_no_sag() -> None:
    """A supply in limit that still holds its volts feeds the board."""
    assert not sagged([Look(0.05 * i, 4.7, 1.0, True) for i in range(10)], 5.0)


def test_over_current_needs_three_seconds() -> None:
    """More than 1.5 times a good board's current for more than 3 s goes off, a shorter one does not."""
    looks = [Look(0.25 * i, 5.0, 1.3, False) for i in range(12)]
    assert must_go_off(FEED, looks) is None
    assert "over-current" in (must_go_off(FEED, [*looks, Look(3.2, 5.0, 1.3, False)]) or "")


def test_the_supplys_own_trip_counts() -> None:
    """An output that tripped by itself is treated as off, and said so."""
    assert "protection" in (must_go_off(FEED, [Look(1.0, 0.0, 0.0, False, True)]) or "")


def test_a_lost_bias_rail_goes_off_with_its_partners() -> None:
    """Three-rail memories do not survive a missing bias (their data sheets, from memory); coming up takes a moment."""
    bias = replace(FEED, rail="-5V", nominal=-5.0, volts=-5.0, trip=-5.5)
    assert must_go_off(bias, [Look(0.1, -1.0, 0.0, False)]) is None
    assert must_go_off(bias, [Look(0.5, -4.9, 0.0, False)]) is None
    assert "bias rail is lost" in (must_go_off(bias, [Look(0.5, -4.9, 0.0, False), Look(0.75, -0.2, 0.0, False)]) or "")
    assert "over-voltage" in (must_go_off(bias, [Look(0.5, -5.7, 0.0, False)]) or "")


def limiting(amps: float) -> list[Look]:
    """An output held at `amps` with 3 V left."""
    return [Look(0.1 * turn, 3.0, amps, True) for turn in range(8)]


def test_a_limit_lower_than_asked_for_is_the_supply_s() -> None:
    """It was set to 1 A and gives 0.4 A: its limit, not the board, is to blame."""
    assert "limit knob" in (limit_to_blame(FEED, limiting(0.4), 1.0) or "")


def test_a_limit_below_what_a_good_board_draws_is_the_bench_file_s() -> None:
    """A good board may draw 0.84 A: one that limits at 0.5 A as asked was never given a chance."""
    assert "bench file" in (limit_to_blame(FEED, limiting(0.5), 0.5) or "")


def test_a_board_that_draws_all_of_its_limit_is_to_blame_itself() -> None:
    """Set to 1.3 times a good board's current (common practice) and drawing it: no excuse."""
    assert limit_to_blame(FEED, limiting(1.0), 1.0) is None


def test_where_nobody_reads_the_current_neither_is_blamed() -> None:
    """A supply worked by hand shows its amps to the person only."""
    assert "ammeter" in (limit_to_blame(FEED, limiting(math.nan), 1.0) or "")


def test_an_output_that_gives_nothing_goes_off_where_its_supply_cannot_tell_of_a_trip() -> None:
    """Not while it comes up, not where it limits, and not on the word of a supply that says it has not tripped."""
    gone = [Look(0.2 * i, 0.1, 0.0, False, None) for i in range(9)]
    assert "tripped by itself, or switched off" in (must_go_off(FEED, gone) or "")
    assert must_go_off(FEED, gone[:5]) is None
    assert must_go_off(FEED, [replace(look, tripped=False) for look in gone]) is None
    assert must_go_off(FEED, [replace(look, volts=5.0) for look in gone]) is None


def test_what_limits_on_purpose_still_goes_off_for_what_is_never_right() -> None:
    """Sagging is wanted where a limit is tried; a trip and an over-voltage are not."""
    assert never_right(FEED, Look(1.0, 2.0, 0.4, True)) is None
    assert "protection" in (never_right(FEED, Look(1.0, 0.0, 0.0, False, True)) or "")
    assert "over-voltage" in (never_right(FEED, Look(1.0, 5.6, 0.4, True)) or "")
