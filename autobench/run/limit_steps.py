"""Which current limit comes next where a supply limits: one that may be too tight, or one of a ladder. Pure."""

from __future__ import annotations

from autobench.plan.steps import Feed

# Common practice: a limit that is too tight makes shorts that are not there, so it is raised once before it counts.
RETRY_FACTOR = 1.5
ABOVE = 1.01  # a limit that is not clearly higher is no other


def next_limit(feed: Feed, amps: float, most: float, retried: bool) -> float | None:
    """The limit to try after `amps`, in A and never above `most`; `None` where nothing is left to try.

    A board that nobody knows goes up its ladder; any other gets 1.5 times its limit, once.
    """
    if feed.ladder:
        return next((step for step in feed.ladder if ABOVE * amps < step <= most), None)
    wanted = min(RETRY_FACTOR * amps, most)
    return None if retried or wanted <= ABOVE * amps else wanted
