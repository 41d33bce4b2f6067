"""Why an exchange failed, in words a technician can act on: how long, how much came, what the instrument itself says.

Numbers and their meaning are those of SCPI-1999 (vol. 2, 21.8). It talks to no instrument.
"""

from __future__ import annotations

from collections.abc import Sequence

from autobench.errors import LinkError, NoReplyError, ProtocolError, ReplyError
from autobench.quantity import show

CONSEQUENCES = range(-499, -399)  # -420 and its kin only say again that there was no reply
CAUSES = (
    ((-113, -114, -112), "it does not know this command – is the driver right?"),
    ((-108, -109, -115), "it wants other parameters than it was sent – is the driver right?"),
    ((-211, -212, -213, -214, -215), "it waits for another trigger than it gets"),
    ((-221,), "this does not go with how it is set"),
    ((-222, -224), "a value is out of its range"),
    ((-223, -225, -363), "it was sent more than it can take"),
    ((-230,), "it has nothing measured to answer with"),
    ((-350,), "its error queue ran over, so the first cause may be lost"),
    ((-361, -362), "the serial line is disturbed, or set to another speed"),
)
CLASSES = (
    (range(-199, -99), "it does not understand this – is the driver right?"),
    (range(-299, -199), "it could not do this as it is set"),
    (range(-399, -299), "it has a fault of its own"),
)


def in_words(
    instrument: str, error: BaseException, asked: str, came: str, seconds: float, written: bool
) -> BaseException:
    """The error as a person should read it; one that is none of the conversation comes back as it is.

    `asked` is the message and `came` what there is of a reply, both fit to be shown; `seconds` were allowed, and
    `written` says whether the message went out whole.
    """
    if isinstance(error, NoReplyError):
        limit = f"{seconds:.1f} s" if seconds >= 1.0 else show(seconds, "s", 3)
        if not written:
            return NoReplyError(instrument, f"could not send {asked} within {limit}")
        if came:
            return NoReplyError(instrument, f"no complete reply to {asked} within {limit}, only: {came}")
        return NoReplyError(instrument, f"no reply to {asked} within {limit}")
    if isinstance(error, LinkError):
        return type(error)(instrument, f"{asked}: {error.text}")
    if isinstance(error, ProtocolError):
        return ReplyError(instrument, f"{asked}: {error}")
    return error


def cause_of(found: Sequence[tuple[int, str]]) -> str:
    """What to add to "no reply to …": the first error that is a cause, else that it reports none."""
    causes = [entry for entry in found if entry[0] not in CONSEQUENCES]
    if not causes:
        return "; it does answer otherwise and reports no cause: it may need longer than that"
    number, words = causes[0]
    return f"; the instrument reports {number}: {meaning(number, words)}"


def meaning(number: int, words: str) -> str:
    """What an error number means here; the instrument's own words for what the standard does not know."""
    for numbers, text in CAUSES:
        if number in numbers:
            return text
    for span, text in CLASSES:
        if number in span:
            return text
    return words or "an error of its own, without words"
