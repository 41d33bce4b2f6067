"""Lists of relay channels told by card and position, as in `(@1!1,2!3:2!7)`, for instruments that name them so.

Text to channels and back; it must not know any instrument's state.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable

from autobench.protocols.scpi import ScpiError

CARD = 100  # channel = 100 x card + position
PLACE = re.compile(r"\s*(\d{1,3})\s*!\s*(\d{1,3})\s*", re.ASCII)


def read_channels(text: str, known: Collection[int]) -> list[int]:
    """The channels of a list, in the order sent.

    Raises -171 for what is no such list, -222 for a channel that is not one of `known` (SCPI-1999 vol. 2, 21.8).
    """
    inside = re.fullmatch(r"\(\s*@(.*)\)", text.strip(), re.DOTALL)
    if inside is None:
        raise ScpiError(-171 if text.strip().startswith("(") else -104, text[:40])
    found: list[int] = []
    for part in inside.group(1).split(","):
        low, colon, high = part.partition(":")
        first = channel_of(low, text, known)
        last = channel_of(high, text, known) if colon else first
        step = 1 if last >= first else -1
        found += [channel for channel in range(first, last + step, step) if channel in known]
    return found


def channel_of(text: str, whole: str, known: Collection[int]) -> int:
    """One channel of the list `whole`."""
    place = PLACE.fullmatch(text)
    if place is None:
        raise ScpiError(-171, whole[:40])
    channel = CARD * int(place.group(1)) + int(place.group(2))
    if channel not in known or int(place.group(2)) >= CARD:
        raise ScpiError(-222, whole[:40])
    return channel


def written_channels(channels: Iterable[int]) -> str:
    """A list of channels in rising order, neighbours of one card as a run."""
    runs: list[list[int]] = []
    for channel in sorted(channels):
        if runs and channel == runs[-1][1] + 1:
            runs[-1][1] = channel
        else:
            runs.append([channel, channel])
    names = [name(low) if low == high else f"{name(low)}:{name(high)}" for low, high in runs]
    return f"(@{','.join(names)})"


def name(channel: int) -> str:
    """One channel as `card!position`."""
    card, position = divmod(channel, CARD)
    return f"{card}!{position}"
