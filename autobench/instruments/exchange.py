"""One exchange with one instrument, as evidence: what was sent, what came back, when and how long it took.

A plain value; it must not know how it was got or where it is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

from autobench.errors import ProtocolError


@dataclass(frozen=True)
class Exchange:
    """What went over one link for one message.

    `at` and `seconds` are by the link's clock (s). `received` is `None` where no reply was expected; after an error it
    holds what had come until then. `error` is the sentence a person was shown, or `None`.
    """

    instrument: str
    at: float
    sent: bytes
    received: bytes | None
    seconds: float
    error: str | None = None

    def summary(self, longest: int = 80) -> str:
        """One line for a log: both messages in words, each cut at `longest` characters."""
        line = shown(self.sent, longest)
        if self.received is not None:
            line += f" -> {shown(self.received, longest)}"
        return f"{line} ({self.error})" if self.error else line


def shown(data: bytes, longest: int = 80) -> str:
    """`data` as printable text, cut at `longest` characters with its full length said."""
    text = ascii(data[:longest].decode("latin-1"))[1:-1]
    if len(data) <= longest and len(text) <= longest:
        return text
    return f"{text[:longest]}… ({len(data)} bytes)"


def program_message(instrument: str, text: str) -> bytes:
    """The bytes of one message to `instrument`; raises `ProtocolError` for what could not be exactly one."""
    if not text or not text.isascii() or not text.isprintable():
        raise ProtocolError(f"{instrument}: {text!r} cannot be sent as one message of printable ASCII")
    return text.encode("ascii")
