"""Asking a scope what the codes of a record mean, in whichever of the ways its dialect has.

By a preamble of ten fields, by seven numbers, by a descriptor in binary, or, where there is nothing of the kind, by the
settings as they stand. Whether that fits what was set is looked at elsewhere.
"""

from __future__ import annotations

from autobench.errors import ProtocolError, ReplyError
from autobench.instruments.decoders import Answer
from autobench.instruments.descriptor import descriptor_preamble
from autobench.instruments.preamble import BYTES, Preamble, preamble_of, preamble_of_seven
from autobench.instruments.scope_settings import Settings


def scaling_of(settings: Settings, channel: int) -> Preamble:
    """The scaling of the record of `channel`, as a preamble. Raises the link's errors, `ReplyError` for nonsense."""
    dialect = settings.dialect
    if not dialect.can("preamble?"):
        return by_the_screen(settings, channel)
    answer = asked(settings, "preamble?", channel=channel)
    how = dialect.action("preamble?").answer
    try:
        if how == "descriptor":
            return descriptor_preamble(answer.data)
        return (preamble_of_seven if how == "scaling" else preamble_of)(answer.numbers)
    except ProtocolError as error:
        dialect.link.distrust()
        raise ReplyError(settings.name, f"the record of channel {channel} is not understood: {error}") from error


def by_the_screen(settings: Settings, channel: int) -> Preamble:
    """The scaling that follows from the settings: a division is so many codes, counted from the screen's middle.

    V = code · volts per division / codes per division + volts in the middle; the record begins at the screen's left
    edge (the rule that instruments without a preamble give in their manuals).
    """
    scale = settings.number("set scale?", channel)
    middle = settings.middle_back(channel, scale)
    rate = settings.number("sample rate?", 0)
    if scale <= 0.0 or rate <= 0.0:
        raise ReplyError(settings.name, f"says {scale:g} V per division and {rate:g} Sa/s, which no record can have")
    step, first = scale / settings.samples.codes, settings.later - settings.screen / 2.0
    return Preamble(BYTES, 0, settings.points, 1, 1.0 / rate, first, 0, step, middle, 0)


def asked(settings: Settings, question: str, within: float | None = None, channel: int | None = None) -> Answer:
    """The answer to one question; the driver's grammar sees to it that there is one."""
    answer = settings.dialect.perform(question, within=within, channel=channel)
    if answer is None:
        raise ReplyError(settings.name, f"the driver's '{question}' asks nothing")
    return answer
