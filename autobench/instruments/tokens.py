"""Tokens: numbers put into an instrument's register and asked back, by which a conversation is known to be in step.

The register is the event status enable register, whose own content is put back afterwards. It sends nothing itself.
"""

from __future__ import annotations

from autobench.errors import LinkError
from autobench.instruments.deadline import Deadline
from autobench.instruments.session import Session

MOST_DROPPED = 1000  # stale messages that are dropped before a token; beyond it the instrument talks by itself
TOKENS = 250  # the event status enable register takes 0 .. 255 (IEEE 488.2, 10.10)
POWER_ON_ESE = 0  # restored where the instrument did not tell its own value


class Tokens:
    """The tokens of one link, and what was in the register before."""

    def __init__(self) -> None:
        self.own = POWER_ON_ESE
        self._last = 0
        self._left: set[int] = set()  # tokens that a failed recovery may have left in the register

    def pair(self) -> tuple[int, int]:
        """Two tokens that differ from each other and from those of the last time."""
        first = self._last % TOKENS + 1
        self._last = first % TOKENS + 1
        self._left.add(first)
        return first, self._last

    def found(self, before: int, second: int) -> None:
        """What stood in the register `before` the first token; `second` comes next."""
        if before not in self._left:
            self.own = before
        self._left.add(second)

    def restored(self) -> None:
        """The register has its own content again."""
        self._left.clear()


def read_to(session: Session, token: int, deadline: Deadline) -> tuple[int, bytes]:
    """Read and drop until `token` comes; the number that came just before it, and the message it came in."""
    last = b""
    for _ in range(MOST_DROPPED):
        message = session.read_message(deadline.left())
        numbers = [part.strip().removeprefix(b"+") for part in message.split(b";")]
        told, last = numbers[-2] if len(numbers) > 1 else last, numbers[-1]
        if last == str(token).encode("ascii"):
            return int(told) if told.isdigit() and int(told) <= 255 else POWER_ON_ESE, message
    raise LinkError(session.instrument, "it keeps sending by itself")
