"""The guard: a process of its own that switches supplies off when the program that switched them on dies or hangs.

`autobench.run.guard` starts it as a plain script and gives it orders: lines to send, and duplicates of the open
connections to send them over. It knows no dialect, no VISA and nothing of autobench, so that it is there in a few tens
of milliseconds and cannot fail with the rest. It only ever sends what it was ordered to: OFF.

Three things start it: the end of the program (its pidfd), the end of the channel to it, and a lease that was not
renewed in time. Two words end it quietly: `disarm`, or an end of the channel before any order came.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import socket
import stat
import sys
import time
from typing import Any

# Seconds after the first OFF at which it is sent again: a supply may be busy, or ignore the first one.
AGAIN = (0.0, 0.03, 0.1, 0.25, 0.5, 0.9)
PATIENCE = 0.1  # s a connection that takes nothing may hold up the others
CONNECT = 0.25  # s for a second session
MOST_MESSAGE = 64 * 1024
MOST_DESCRIPTORS = 64


class Way:
    """One supply: the connection the program has open, and a second one that is opened when it is needed.

    `end` is sent before the first line of a round: it ends a command that was cut in half. `pace` is the least time
    between two lines (s).
    """

    def __init__(self, descriptor: int, end: bytes, pace: float) -> None:
        self.end = end
        self.pace = pace
        self.first: int | None = descriptor
        self.second: int | None = None
        self.is_socket = stat.S_ISSOCK(os.fstat(descriptor).st_mode)
        self.peer = self.where(descriptor)
        self.sent_at = 0.0

    def where(self, descriptor: int) -> Any:
        """Where the connection leads, so that it can be opened once more; None where that cannot be told."""
        try:
            if not self.is_socket:
                return os.ttyname(descriptor)
            with socket.socket(fileno=os.dup(descriptor)) as same:
                return same.family, same.getpeername()
        except OSError:
            return None

    def send(self, lines: list[bytes], round_number: int, alone: bool) -> None:
        """Send `lines`, over the program's own connection first; over a second one where that fails, and later always.

        `alone` says that the program is gone: then, late, its connection is closed, for a supply that takes only one.
        """
        went = self.first is not None and self.write(self.first, lines)
        if went and round_number == 0:
            return
        if alone and round_number >= 3:
            self.close_first()
        if self.second is None or not self.write(self.second, lines):
            self.open_second()
            if self.second is not None:
                self.write(self.second, lines)

    def write(self, descriptor: int, lines: list[bytes]) -> bool:
        """Every line, whole, each after the pace of the supply; whether it all went."""
        for line in (b"", *lines):
            if self.pace:
                time.sleep(max(0.0, self.sent_at + self.pace - time.monotonic()))
            data = line + self.end  # where the dialect has no line ends, nothing ends a half-written command
            if data and not self.write_whole(descriptor, data):
                return False
            self.sent_at = time.monotonic()
        return True

    def write_whole(self, descriptor: int, data: bytes) -> bool:
        """All bytes of `data` within a short patience; never blocks longer."""
        until = time.monotonic() + PATIENCE
        while data:
            try:
                os.set_blocking(descriptor, False)
                data = data[os.write(descriptor, data) :]
            except BlockingIOError:
                left = until - time.monotonic()
                if left <= 0 or not select.select([], [descriptor], [], left)[1]:
                    return False
            except OSError:
                return False
        return True

    def open_second(self) -> None:
        """Open the same place once more; leaves `second` None where it cannot be."""
        if self.second is not None:
            os.close(self.second)
            self.second = None
        if self.peer is None:
            return
        try:
            if not self.is_socket:
                self.second = os.open(self.peer, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
                return
            family, address = self.peer
            session = socket.socket(family, socket.SOCK_STREAM)
            try:
                session.settimeout(CONNECT)
                session.connect(address)
                session.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.second = session.detach()
            finally:
                session.close()
        except OSError:
            return

    def close_first(self) -> None:
        """Give the program's own connection up; a duplicate alone would keep it open for the instrument."""
        if self.first is None:
            return
        if self.is_socket:
            # What is suppressed: it was gone already.
            with socket.socket(fileno=self.first) as same, contextlib.suppress(OSError):
                same.shutdown(socket.SHUT_RDWR)
        else:
            os.close(self.first)
        self.first = None

    def close(self) -> None:
        """Close what is open here; the program's own end stays as it is."""
        for descriptor in (self.first, self.second):
            if descriptor is not None:
                os.close(descriptor)


class Guard:
    """What is guarded, until when the lease runs, and what was done."""

    def __init__(self, channel: socket.socket) -> None:
        self.channel = channel
        self.pidfd: int | None = None
        self.lease = 0.0
        self.ways: list[Way] = []
        self.steps: list[tuple[int, bytes]] = []
        self.until: float | None = None  # None: resting, nothing is on
        self.gone = False
        self.ended = False

    def watch(self) -> None:
        """Wait for whatever comes first, until the program is gone or says that all is well."""
        while not self.ended:
            watched = [self.channel.fileno()] + ([self.pidfd] if self.pidfd is not None else [])
            left = None if self.until is None else max(0.0, self.until - time.monotonic())
            ready = select.select(watched, [], [], left)[0]
            if self.channel.fileno() in ready:
                self.listen()
            elif ready:
                self.gone = True
            if self.gone:
                self.switch_off()
                return
            if self.until is not None and time.monotonic() >= self.until:
                self.until = None
                self.tell(b"fired")
                self.switch_off()

    def listen(self) -> None:
        """One message of the program: a word, or orders with the descriptors they are about."""
        try:
            data, descriptors, _, _ = socket.recv_fds(self.channel, MOST_MESSAGE, MOST_DESCRIPTORS)
        except OSError:
            data, descriptors = b"", []
        if not data:
            self.gone = True
        elif data == b"disarm":
            self.ended = True
        elif data == b"rest":
            self.until = None
            self.tell(b"resting")
        elif data.startswith(b"{"):
            self.obey(json.loads(data), descriptors)
        else:
            self.until = time.monotonic() + self.lease + int(data) / 1000.0
            self.tell(b".")

    def obey(self, orders: dict[str, Any], descriptors: list[int]) -> None:
        """Take new orders in place of the old ones. The first descriptor is the program's pidfd."""
        for way in self.ways:
            way.close()
        if self.pidfd is not None:
            os.close(self.pidfd)
        self.pidfd, *connections = descriptors
        self.lease = float(orders["lease"])
        self.ways = [
            Way(descriptor, way["end"].encode("ascii"), float(way["pace"]))
            for descriptor, way in zip(connections, orders["ways"], strict=True)
        ]
        self.steps = [(int(way), line.encode("ascii")) for way, line in orders["steps"]]
        self.until = time.monotonic() + self.lease
        self.tell(b"ready")

    def switch_off(self) -> None:
        """Send every OFF, in order, and again and again: who is not there any more cannot look whether it worked."""
        began = time.monotonic()
        for number, after in enumerate(AGAIN):
            time.sleep(max(0.0, began + after - time.monotonic()))
            for place, lines in self.in_runs():
                try:
                    self.ways[place].send(lines, number, alone=self.gone)
                except OSError:
                    continue  # one supply that cannot be reached must not keep the next from being switched off

    def in_runs(self) -> list[tuple[int, list[bytes]]]:
        """The steps in their order, those in a row for one supply together."""
        runs: list[tuple[int, list[bytes]]] = []
        for place, line in self.steps:
            if runs and runs[-1][0] == place:
                runs[-1][1].append(line)
            else:
                runs.append((place, [line]))
        return runs

    def tell(self, word: bytes) -> None:
        """A word to the program, which may be frozen or gone."""
        try:
            self.channel.send(word, socket.MSG_DONTWAIT)
        except OSError:
            return


def main(descriptor: int) -> None:
    """Guard by orders that come over the socket `descriptor`."""
    # Ctrl-C and SIGTERM are for the program: it ends in order, or this notices that it did not.
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT, signal.SIGPIPE):
        signal.signal(number, signal.SIG_IGN)
    with socket.socket(fileno=descriptor) as channel:
        Guard(channel).watch()


if __name__ == "__main__":
    main(int(sys.argv[1]))
