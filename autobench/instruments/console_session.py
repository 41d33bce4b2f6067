"""A session with an instrument that talks as to a person at a terminal: it ends every exchange with a prompt.

It stands on another session and keeps the same port. Most echo every line: what came before the echo belongs to an
earlier one and is dropped. A prompt that says the line failed is an error. It must not know which prompts there are: it
is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from autobench.clock import Clock
from autobench.errors import InstrumentReportedError, NoReplyError, ReplyError
from autobench.instruments.deadline import Deadline
from autobench.instruments.session import Session

MOST_LINES = 1000  # of one reply; beyond it the instrument talks by itself


@dataclass(frozen=True)
class PromptWords:
    """The prompt that says all went well, and those that say it did not.

    `echo`: every line comes back first. `line_end`: one follows the prompt; where none does, the session below must
    take the prompt itself for the end of a message.
    """

    done: str
    errors: Sequence[str]
    echo: bool = True
    line_end: bool = True


class ConsoleSession:
    """Keeps the `autobench.instruments.session.Session` port over `inner`, a session with line ends."""

    def __init__(self, inner: Session, prompts: PromptWords, clock: Clock) -> None:
        self._inner = inner
        self._clock = clock
        self._done = prompts.done.strip().encode("ascii")
        self._echo, self._line_end = prompts.echo, prompts.line_end
        self._errors = [word.strip().encode("ascii") for word in prompts.errors]
        self._sent = b""
        self.partial = b""

    @property
    def instrument(self) -> str:
        """The instrument's name in the bench file."""
        return self._inner.instrument

    @property
    def has_end(self) -> bool:
        """Whether the transport marks the end of a message itself."""
        return self._inner.has_end

    def write(self, message: bytes, within: float) -> None:
        self.partial = b""
        if not self._echo:
            self._inner.clear()  # nothing tells what is left of an earlier reply from the one that comes now
        self._sent = message.strip()
        self._inner.write(message, within)

    def confirm(self, within: float) -> None:
        """Read to the prompt; raises `InstrumentReportedError` where it says that the line failed."""
        lines = self._to_prompt(within)
        if lines:
            raise ReplyError(self.instrument, f"answered '{lines[0].decode('latin-1')[:40]}' where nothing was asked")

    def read_message(self, within: float) -> bytes:
        lines = self._to_prompt(within)
        if not lines:
            raise ReplyError(self.instrument, "answered with its prompt only")
        return b"\n".join(lines)

    def _to_prompt(self, within: float) -> list[bytes]:
        """The lines between the echo of what was sent, where there is one, and the prompt."""
        found: list[bytes] = []
        echoed = not self._echo
        try:
            for line in self._lines(Deadline(self._clock, within)):
                if not echoed:
                    echoed = line == self._sent
                elif line == self._done:
                    return found
                elif line in self._errors:
                    raise InstrumentReportedError(
                        self.instrument, f"answered with its error prompt {line.decode('ascii')}"
                    )
                elif line:
                    found.append(line)
        except NoReplyError:
            self.partial = b"\n".join(found) or self._inner.partial
            raise
        raise ReplyError(self.instrument, "it keeps sending by itself")

    def _lines(self, deadline: Deadline) -> Iterator[bytes]:
        """What comes, line by line, the prompts among it."""
        for _ in range(MOST_LINES):
            message = self._inner.read_message(deadline.left())
            yield from (line.strip() for line in re.split(rb"[\r\n]+", message))
            if not self._line_end:
                yield self._done  # which ended the message

    def read_exact(self, count: int, within: float) -> bytes:  # noqa: ARG002  # of the port
        """Blocks have no place between an echo and a prompt."""
        raise ReplyError(self.instrument, "data cannot be read by length where every exchange ends with a prompt")

    def finish_message(self, within: float) -> bytes:  # noqa: ARG002  # of the port
        """The prompt was read already."""
        return b""

    def clear(self) -> None:
        self._inner.clear()

    def status_byte(self) -> int | None:
        return self._inner.status_byte()

    def descriptor(self) -> int | None:
        return self._inner.descriptor()

    def abort(self) -> None:
        self._inner.abort()

    def reopen(self) -> None:
        self._inner.reopen()

    def close(self) -> None:
        self._inner.close()
