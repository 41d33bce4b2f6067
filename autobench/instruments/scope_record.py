"""Reading a scope's record out: preamble and points of every channel, by exact counts, as traces.

The acquisition must have been stopped. Whatever the preamble says is held against what was set before it is believed;
nothing is measured here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from autobench.errors import ReplyError
from autobench.instruments.preamble import BYTES, Preamble
from autobench.instruments.scope_scaling import asked, scaling_of
from autobench.instruments.scope_settings import Settings
from autobench.instruments.scope_setup import Setup
from autobench.quantity import show
from autobench.signals.trace import Trace

SLOWEST = 100e3  # points a second that even a slow connection carries (common practice)
AGREED = 0.02  # relative; numbers of the preamble and settings further apart contradict each other
HOW_READ = ("read as", "first point", "last point")  # settings of the read-out, whichever channel
SIGN = 0x80  # the bit of a code that has a sign
MIDDLE_AGREED = 0.5  # divisions; the middle of the codes lies a code or two off the middle of the screen


def read_record(settings: Settings, setup: Setup) -> dict[int, Trace]:
    """The traces of a stopped acquisition by channel, with a pause between channels.

    Raises the link's errors; `ReplyError` also where preamble, points and settings do not fit together.
    """
    traces: dict[int, Trace] = {}
    for channel in setup.channels:
        if traces:
            settings.dialect.clock.sleep(settings.samples.pause.value)
        traces[channel] = read_channel(settings, channel, setup.peak)
    settings.dialect.refuse_errors()
    return traces


def no_trace(interval: float) -> Trace:
    """The trace of a channel that has no record."""
    return Trace(np.empty(0, dtype=np.uint8), interval)


def read_channel(settings: Settings, channel: int, peak: bool) -> Trace:
    """The trace of one channel."""
    samples = settings.samples
    preamble = ask_preamble(settings, channel)
    if contradiction(settings, channel, preamble):
        settings.dialect.refuse_errors()  # a line that was refused explains it better
        for what in HOW_READ:
            settings.drop(what)  # somebody may have moved it: it is sent again, once
        preamble = ask_preamble(settings, channel)
    trouble = contradiction(settings, channel, preamble)
    if trouble:
        raise ReplyError(settings.name, f"the record of channel {channel} is not the one that was set up: {trouble}")
    points = int(preamble.points)
    if points != settings.points:
        settings.put("last point", points, "last point", point=points)
    codes = read_codes(settings, channel, points)
    reference, offset = preamble.scaling(samples.origin or "volts")
    if samples.signed:  # two's complement: the code 0xFC is -4, and its distance from -128 is what a trace holds
        codes = codes ^ np.uint8(SIGN)
        reference += SIGN
    return Trace(
        in_pairs(codes) if peak else codes,
        preamble.x_increment,
        preamble.y_increment,
        reference,
        offset,
        preamble.start,
        clipped=(float(samples.clips_below), float(samples.full_scale)),
        peak_detect=peak,
    )


def ask_preamble(settings: Settings, channel: int) -> Preamble:
    """Point the read-out at the whole record of `channel`, and ask what that is. How it is read is sent only where it
    does not stand so already: form and number of points are in the preamble, and show where it moved by itself. Where
    there is none, nothing would show it."""
    dialect = settings.dialect
    if not dialect.can("preamble?"):
        for what in HOW_READ:
            settings.drop(what)
    if dialect.can("waveform source"):
        dialect.perform("waveform source", channel=channel)
    settings.put("read as", "raw", "waveform raw")
    if dialect.can("first point"):
        settings.put("first point", 1, "first point", point=1)
    settings.put("last point", settings.points, "last point", point=settings.points)
    return scaling_of(settings, channel)


def read_codes(settings: Settings, channel: int, points: int) -> NDArray[np.uint8]:
    """All points of the record in blocks of at most the driver's chunk; the range to read is put back afterwards."""
    chunk = settings.samples.chunk
    parts: list[bytes] = []
    for first in range(1, points + 1, chunk):
        last = min(first + chunk - 1, points)
        if chunk < points:  # otherwise the range is the whole record already
            order = (("last point", last), ("first point", first))  # upwards: the end moves out of the way first
            for action, point in reversed(order) if first == 1 else order:
                settings.put(action, point, action, point=point)
        parts.append(read_block(settings, channel, last - first + 1))
    if len(parts) > 1:
        settings.put("first point", 1, "first point", point=1)
    return np.frombuffer(parts[0] if len(parts) == 1 else b"".join(parts), dtype=np.uint8)


def read_block(settings: Settings, channel: int, points: int) -> bytes:
    """One block of exactly `points` codes."""
    data = asked(settings, "data?", settings.dialect.link.within + points / SLOWEST, channel).data
    if len(data) != points:
        raise ReplyError(
            settings.name, f"sent {len(data)} points of channel {channel} in one block where {points} were asked for"
        )
    return data


def contradiction(settings: Settings, channel: int, preamble: Preamble) -> str:
    """Why the preamble is not about the record that was set up; empty where it is.

    Where the highest sample rate cannot fill the memory within the screen, some records end with the screen and others
    with the memory; both are accepted. The screen's middle tells a wrong rule of origin from the right one at every
    offset but zero.
    """
    samples, scale, middle = settings.samples, settings.scales[channel], settings.middles[channel]
    trouble = ""
    division = preamble.y_increment * samples.codes
    found = preamble.volts(preamble.y_reference, samples.origin or "volts")
    if preamble.form != BYTES:
        trouble = f"it is in form {preamble.form:g}, not in bytes"
    elif preamble.points != settings.memory and abs(preamble.points - settings.points) > 1:
        trouble = f"it has {preamble.points:.0f} points, {settings.points} should fit its {show(settings.screen, 's')}"
    elif abs(division / scale - 1.0) > AGREED:
        trouble = f"its codes make a division of {show(division, 'V')}, the scale is {show(scale, 'V')}"
    elif abs(found - middle) > MIDDLE_AGREED * scale:
        trouble = (
            f"it has {show(found, 'V')} in the middle of the screen, by its offset there are {show(middle, 'V')} "
            "('origin' or 'positive offset' of the driver file may be wrong)"
        )
    return trouble


def timing_trouble(settings: Settings, interval: float, peak: bool) -> str | None:
    """Why the time base is not the one that was set, by the preamble's own `interval`; None where it is.

    The preamble is right then, since it goes with the record. Extremes come in pairs, which some count as one point.
    """
    counted = (1.0, 2.0, 0.5) if peak else (1.0,)
    rate = settings.rate
    if settings.samples.thins:  # what was sampled faster is handed over as the points that were asked for
        rate = min(rate, settings.memory / settings.screen)
    if any(abs(interval * rate / count - 1.0) <= AGREED for count in counted):
        return None
    told = show(settings.rate, "Sa/s")
    return f"the points are {show(interval, 's')} apart although {told} were told: the time base is held by something"


def in_pairs(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Extremes of each interval with the lowest first, whichever way round they came."""
    first, second = codes[: codes.size // 2 * 2].reshape(-1, 2).T
    pairs = np.empty(2 * first.size, dtype=np.uint8)
    np.minimum(first, second, out=pairs[::2])
    np.maximum(first, second, out=pairs[1::2])
    return pairs
