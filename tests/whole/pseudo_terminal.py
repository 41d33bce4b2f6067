"""A command at a pseudo-terminal, for tests: what it writes is read as it comes, and keys are typed."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Mapping, Sequence

SIGNS = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]|\x07|\r")


class Typed:
    """`autobench …` in a terminal of so many columns and lines; plain lines unless `term` can place its cursor."""

    def __init__(
        self,
        arguments: Sequence[str],
        environment: Mapping[str, str],
        *,
        term: str = "dumb",
        size: tuple[int, int] = (80, 24),
    ) -> None:
        self.text = ""
        self._read_to = 0
        command = [sys.executable, "-m", "autobench", *arguments]
        self.process, self._terminal = pty.fork()
        if self.process == 0:
            os.execve(sys.executable, command, {**os.environ, **environment, "TERM": term})
        columns, lines = size
        fcntl.ioctl(self._terminal, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def until(self, wanted: str, seconds: float = 120.0) -> str:
        """Everything from the last such moment until `wanted` (a pattern) has been written; fails if it never is."""
        end = time.monotonic() + seconds
        while True:
            found = re.search(wanted, self.text[self._read_to :])
            if found:
                seen = self.text[self._read_to : self._read_to + found.end()]
                self._read_to += found.end()
                return seen
            assert time.monotonic() < end, f"never saw {wanted!r} in: {self.text[self._read_to :][-2000:]}"
            assert self._more(), f"it ended before {wanted!r}: {self.text[-2000:]}"

    def _more(self, seconds: float = 0.5) -> bool:
        """Take in what has been written; whether the command may still write."""
        if not select.select([self._terminal], [], [], seconds)[0]:
            return True
        try:
            chunk = os.read(self._terminal, 65536)
        except OSError:  # its end of the terminal is closed
            return False
        self.text += SIGNS.sub("", chunk.decode("utf-8", "replace"))
        return bool(chunk)

    def type(self, keys: str) -> None:
        """Press keys."""
        os.write(self._terminal, keys.encode())

    def ended(self, seconds: float = 60.0) -> int:
        """The exit code once it has ended."""
        end = time.monotonic() + seconds
        while self._more(0.1):
            assert time.monotonic() < end, f"it does not end: {self.text[-2000:]}"
        _, status = os.waitpid(self.process, 0)
        self.process = 0
        return os.waitstatus_to_exitcode(status)

    def close(self) -> None:
        """End what is still running; called on every way out."""
        if self.process:
            os.kill(self.process, signal.SIGKILL)
            os.waitpid(self.process, 0)
            self.process = 0
        os.close(self._terminal)
