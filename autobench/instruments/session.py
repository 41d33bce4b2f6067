"""The port below a link: one open connection that carries messages to and from one instrument.

`autobench.instruments.visa` implements it over VISA. It knows bytes and time, no commands and no recovery; nothing here
performs any input or output.
"""

from __future__ import annotations

from typing import Protocol


class Session(Protocol):
    """One open connection. Every method raises `LinkError` or one of its kinds, and nothing else.

    `within` is always the total time in seconds for the whole call, by the clock of the transport: real time over real
    transports, the simulator's clock in process.
    """

    @property
    def instrument(self) -> str:
        """The instrument's name in the bench file."""

    @property
    def partial(self) -> bytes:
        """What had come of the message when the last read failed; empty after a read that succeeded."""

    @property
    def has_end(self) -> bool:
        """Whether the transport itself marks the end of a message."""

    def write(self, message: bytes, within: float) -> None:
        """Send one whole message; the line end, or the END flag, is added here."""

    def confirm(self, within: float) -> None:
        """Wait for what confirms a command that is not answered: a prompt, where there is such a thing."""

    def read_message(self, within: float) -> bytes:
        """Read one whole message, without its line end."""

    def read_exact(self, count: int, within: float) -> bytes:
        """Read exactly `count` bytes, whatever they are; the rest of the message stays for the next read."""

    def finish_message(self, within: float) -> bytes:
        """Eat the line end that may follow what `read_exact` took; waits briefly, since not every instrument sends it.

        Raises `ReplyError` if something else follows.
        """

    def clear(self) -> None:
        """Device clear where the transport has one, and drop what has arrived."""

    def status_byte(self) -> int | None:
        """The status byte by serial poll, or `None` where the transport has no such thing."""

    def abort(self) -> None:
        """Break off a read that blocks in another thread, where the transport can; the connection is lost then."""

    def descriptor(self) -> int | None:
        """File descriptor of the connection, where lines can be sent over it as they are; else `None`."""

    def reopen(self) -> None:
        """Close and open again."""

    def close(self) -> None:
        """Close; never raises, and may be called twice."""
