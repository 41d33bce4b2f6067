"""The watch over a live output: looks at volts, amps, limiting and trips, and says when it must go off.

Pure: samples in, a reason or nothing out. Who looks, and what is switched, is decided in `power`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from autobench.plan.steps import Feed
from autobench.quantity import show

# Common practice: a current well above a good board's for longer than any start-up is a fault, not inrush.
OVER_CURRENT = 1.5
OVER_CURRENT_SECONDS = 3.0
# A supply in limit below this share of its set volts for this long is feeding a fault, or is limited too tightly.
SAGGED = 0.9
SAGGED_SECONDS = 0.15
# A supply that limits keeps to its limit this well (its own ammeter's error included); one that limits lower was not
# set to what was asked for.
LIMIT_KEPT, LIMIT_FLOOR = 0.9, 0.01
# A bias rail that is gone destroys three-rail memories within seconds (their data sheets), so its partners go off with
# it; it is given a moment to come up first.
BIAS_LOST = 0.8
BIAS_UP_SECONDS = 0.3

# The logic's rail gone while a higher one is up: what hangs on both is driven through its own junctions (common
# practice: a 5 V rail below 4 V beside 12 V for more than 2 s).
LOW = 0.8
LOW_SECONDS = 2.0

# An output that gives nothing though it does not limit has been switched off by its own protection, or at its front; it
# is given a moment to come up, and its reading to follow.
GIVES_NOTHING = 0.1
NOTHING_AFTER, NOTHING_SECONDS = 0.8, 0.3


@dataclass(frozen=True)
class Look:
    """One look at one output, by the supply's own reading: seconds since power-on, volts, amps, limiting.

    `tripped` is None where the supply cannot say that.
    """

    at: float
    volts: float
    amps: float
    limiting: bool
    tripped: bool | None = False


def sagged(looks: list[Look], volts: float) -> bool:
    """Whether the output has been limiting below 90 % of the `volts` it was set to for more than 150 ms."""
    since: float | None = None
    for look in looks:
        if look.limiting and abs(look.volts) < SAGGED * abs(volts):
            since = look.at if since is None else since
            if look.at - since > SAGGED_SECONDS:
                return True
        else:
            since = None
    return False


def limit_to_blame(feed: Feed, looks: list[Look], set_amps: float) -> str | None:
    """Why a limiting output says nothing about the board: its limit is lower than was asked for, or than any good board
    needs. None where the limit is as high as was asked and the board draws all of it."""
    last = looks[-1]
    top = feed.current.span.high
    if math.isnan(last.amps):
        return (
            f"the board draws more than {show(set_amps, 'A')}, or the current limit is set lower: read the supply's "
            f"ammeter, set its limit to {show(set_amps, 'A')} and try again before the board is blamed"
        )
    if last.amps < LIMIT_KEPT * set_amps - LIMIT_FLOOR:
        return (
            f"its current limit was set to {show(set_amps, 'A')}, so this is the supply's limit and not the board: "
            f"look at its limit knob and its current range"
        )
    if top is not None and set_amps < top:
        return (
            f"a good board may draw {show(top, 'A')}, so the limit is too low and says nothing about the board: raise "
            f"'amps' of {feed.rail} in the bench file"
        )
    return None


def held_back(feed: Feed, look: Look, set_amps: float) -> str | None:
    """A supply that still limits once the board has settled, though it leaves nearly all its volts: no reading counts
    where its limit is to blame. None where it is not."""
    if not look.limiting or math.isnan(look.amps) or limit_to_blame(feed, [look], set_amps) is None:
        return None
    return f"the supply limits at {show(look.amps, 'A')}"


def must_go_off(feed: Feed, looks: list[Look]) -> str | None:
    """Why this output must go off now, in words, or None. `looks` are those since power-on, oldest first."""
    if not looks:
        return None
    last = looks[-1]
    if (never := never_right(feed, last)) is not None:
        return never
    if last.tripped is None and gives_nothing(looks, feed.volts):
        return f"only {show(last.volts, 'V')} are left and it does not limit: tripped by itself, or switched off"
    top = feed.current.span.high
    if top is not None:
        most = OVER_CURRENT * top
        since: float | None = None
        for look in looks:
            since = (look.at if since is None else since) if look.amps > most else None
        if since is not None and last.at - since > OVER_CURRENT_SECONDS:
            return f"over-current: {show(last.amps, 'A')} for more than {OVER_CURRENT_SECONDS:g} s"
    if last.at > BIAS_UP_SECONDS and (gone := bias_gone(feed, last.volts)) is not None:
        return gone
    if sagged(looks, feed.volts):
        limits = "sags" if math.isnan(last.amps) else f"limits at {show(last.amps, 'A')}"
        return f"the supply {limits} and only {show(last.volts, 'V')} is left"
    return None


def never_right(feed: Feed, look: Look) -> str | None:
    """Why an output must go off even where it is meant to limit, or None."""
    if look.tripped:
        return "the supply's own protection tripped"
    if abs(look.volts) > abs(feed.trip):
        return f"over-voltage: {show(look.volts, 'V')} where {show(feed.trip, 'V')} is the most allowed"
    return None


def gives_nothing(looks: list[Look], volts: float) -> bool:
    """Whether an output that was up, or had the time to come up, gives nothing of its `volts` and does not limit."""
    since: float | None = None
    for look in looks:
        nothing = look.at > NOTHING_AFTER and not look.limiting and abs(look.volts) < GIVES_NOTHING * abs(volts)
        since = (look.at if since is None else since) if nothing else None
    return since is not None and looks[-1].at - since >= NOTHING_SECONDS


def bias_gone(feed: Feed, volts: float) -> str | None:
    """Why a bias rail, one below ground, is lost with these volts, whoever saw them; or None.

    Volts of the wrong sign are none: a bias that floats up through the chips (common practice: 0.3 V to 0.7 V).
    """
    if feed.nominal >= 0 or -volts >= BIAS_LOST * abs(feed.volts):
        return None
    return f"the bias rail is lost: only {show(volts, 'V')} is left, and its partners must not stay on"


def low_beside(feed: Feed, looks: list[Look], up: Iterable[Feed]) -> str | None:
    """Why this output and its partners must go off: too low for too long while a higher rail is `up`; or None.

    A low rail by itself is no reason: the round goes on, conditional.
    """
    higher = [other.rail for other in up if abs(other.nominal) > abs(feed.nominal)]
    if not looks or not higher:
        return None
    since: float | None = None
    for look in looks:
        is_low = abs(look.volts) < LOW * abs(feed.nominal)
        since = (look.at if since is None else since) if is_low else None
    if since is None or looks[-1].at - since <= LOW_SECONDS:
        return None
    left = show(looks[-1].volts, "V")
    return f"only {left} are left for more than {LOW_SECONDS:g} s while {' and '.join(higher)} is up"
