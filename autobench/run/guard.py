"""The program's end of the guard: starts the guard process, gives it its orders, renews its lease and watches it too.

The lease is renewed by the run's own loop – at every exchange, every slice of a wait, every slice of a long read –
and by nothing else: a thread of its own would go on renewing while the run hangs. Orders are plain bytes made from the
driver files' `off`; this module decides nothing about power.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from autobench.clock import Clock, RealClock
from autobench.errors import GuardError
from autobench.instruments.supply import Supply
from autobench.plan.steps import Feed

PROCESS = Path(__file__).with_name("guard_process.py")
LEASE = 0.7  # s; with what the guard itself takes, OFF is sent within one second of a freeze
STEPPED_LEASE = 10.0  # s where the run's clock is stepped: such a bench lives in no real time, so only death counts
SELDOM = 0.02  # s between two renewals: exchanges come much more often than that
PATIENCE = 3.0  # s for the guard to say that it is ready
ENDING = 3.0  # s for the guard to end by itself
LARGEST = 4096

FIRED = "this program stood still for more than {:g} s while power was on, and the guard switched the supplies off"
GONE = "the guard process has ended by itself: nothing would switch off if this program died"
DEAF = "the guard process does not answer any more: nothing would switch off if this program died"


class Guard(Protocol):
    """What a run asks of its guard."""

    def ready(self) -> None:
        """Required before every ON: the guard watches from now on. Raises `GuardError` unless it says so itself."""

    def beat(self, extra: float = 0.0) -> str | None:
        """Renew the lease, by `extra` seconds more than usual; why the guard is lost, in words, or None."""

    def rest(self) -> None:
        """Every output was proved off: the lease does not count until the next `ready`; death still does."""

    def disarm(self) -> None:
        """The proven end: the guard goes without switching anything."""

    def close(self) -> None:
        """The end of the run. A guard that was not disarmed switches off now."""


class NoGuard:
    """For benches without one: those simulated in this process, and supplies whose guard was given up by name."""

    def ready(self) -> None:
        """Nothing to wait for."""

    def beat(self, extra: float = 0.0) -> str | None:  # noqa: ARG002 - the port's signature
        """Nothing to renew."""
        return None

    def rest(self) -> None:
        """Nothing rests."""

    def disarm(self) -> None:
        """Nothing was armed."""

    def close(self) -> None:
        """Nothing was opened."""


class GuardProcess:
    """A running guard over `supplies`, in the order their outputs must go off: the reverse of `feeds`.

    Raises `GuardError` when it cannot be started. `lease` is in seconds of real time, whatever clock the run has.
    """

    def __init__(self, feeds: Sequence[Feed], supplies: Mapping[str, Supply], lease: float = LEASE) -> None:
        self._clock: Clock = RealClock()
        self._lease = lease
        self._supplies = {feed.supply: supplies[feed.supply] for feed in reversed(feeds)}
        self._feeds = tuple(reversed(feeds))
        self._lost: str | None = None
        self._armed = False
        self._disarmed = False
        self._reopened: list[int] = []
        self._beat_at = 0.0
        self._asked_at: float | None = None  # the oldest renewal that was not answered yet
        try:
            self._channel, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
            with theirs:
                # Isolated and without site packages: ready sooner, and nothing a user installed can get into it.
                command = [sys.executable, "-I", "-S", str(PROCESS), str(theirs.fileno())]
                self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and script
                    command,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    pass_fds=(theirs.fileno(),),
                    start_new_session=True,
                    cwd="/",
                )
        except (OSError, AttributeError) as error:
            raise GuardError(f"the guard process cannot be started: {error}") from error

    @property
    def pid(self) -> int:
        """Of the guard process."""
        return self._process.pid

    def ready(self) -> None:
        if self._lost is not None:
            raise GuardError(f"power refused: {self._lost}")
        self._give_orders()
        self._armed = True

    def beat(self, extra: float = 0.0) -> str | None:
        now = self._clock.now()
        if not self._armed or self._lost is not None or (now - self._beat_at < SELDOM and not extra):
            return self._lost
        if self._reopened != self._openings():
            with contextlib.suppress(GuardError):  # kept in `_lost`
                self._give_orders()
            return self._lost
        with contextlib.suppress(OSError):  # a full channel is a deaf guard, a broken one a dead one: `_hear` tells
            self._channel.send(b"%d" % round(1000.0 * extra), socket.MSG_DONTWAIT)
        # After a longer lease the next beat must go out whatever the distance: it makes the lease short again.
        self._beat_at = now if not extra else 0.0
        asked_at = self._asked_at = self._asked_at if self._asked_at is not None else now
        if not self._hear() and now - asked_at > self._lease:
            self._lose(DEAF)
        return self._lost

    def rest(self) -> None:
        if self._armed and self._lost is None:
            self._armed = False
            with contextlib.suppress(OSError):
                self._channel.send(b"rest", socket.MSG_DONTWAIT)

    def disarm(self) -> None:
        """Also where the guard fired: by now everything was proved off."""
        self._armed = False
        self._disarmed = True
        with contextlib.suppress(OSError):
            self._channel.send(b"disarm", socket.MSG_DONTWAIT)

    def close(self) -> None:
        self._armed = False
        self._channel.close()  # the end of the channel makes a guard that was not disarmed switch off
        try:
            self._process.wait(ENDING)
        except subprocess.TimeoutExpired:
            if self._disarmed:
                self._process.kill()  # frozen by somebody; there is nothing left for it to do
                self._process.wait()

    def _openings(self) -> list[int]:
        """How often each supply's connection was opened again: the guard's duplicates are of one opening."""
        return [supply.dialect.link.reopenings for supply in self._supplies.values()]

    def _give_orders(self) -> None:
        """Send lines and connections as they are now, and wait until the guard says that it is ready."""
        descriptors = []
        for name, supply in self._supplies.items():
            descriptor = supply.dialect.link.descriptor()
            if descriptor is None:
                raise self._lose(f"the guard cannot reach '{name}': its connection cannot be shared, or is lost")
            descriptors.append(descriptor)
        self._reopened = self._openings()
        pidfd = os.pidfd_open(os.getpid())
        try:
            socket.send_fds(self._channel, [self._orders()], [pidfd, *descriptors])
        except OSError as error:
            raise self._lose(GONE) from error
        finally:
            os.close(pidfd)
        until = self._clock.now() + PATIENCE
        self._channel.settimeout(PATIENCE)
        try:
            while (word := self._channel.recv(LARGEST)) != b"ready":
                if not word or self._clock.now() > until:
                    raise self._lose(GONE)
                if word == b"fired":
                    raise self._lose(FIRED.format(self._lease))
        except OSError as error:
            raise self._lose(DEAF if isinstance(error, TimeoutError) else GONE) from error
        finally:
            self._channel.settimeout(None)  # with a time-out, even a call that must not wait would wait
        self._asked_at = None
        self._beat_at = self._clock.now()

    def _orders(self) -> bytes:
        """The guard's orders: plain lines for each output, in the order they must go off."""
        names = list(self._supplies)
        ways = [
            {"end": supply.dialect.driver.link.ends.send, "pace": supply.dialect.driver.link.pace.value}
            for supply in self._supplies.values()
        ]
        steps = [
            (names.index(feed.supply), line)
            for feed in self._feeds
            for line in self._supplies[feed.supply].lines_off(feed.output)
        ]
        return json.dumps({"lease": self._lease, "ways": ways, "steps": steps}).encode("ascii")

    def _hear(self) -> bool:
        """Take in what the guard said since; whether it answered a renewal."""
        answered = False
        while self._lost is None:
            try:
                word = self._channel.recv(LARGEST, socket.MSG_DONTWAIT)
            except BlockingIOError:
                break
            except OSError:
                word = b""
            if not word:
                self._lost = GONE
            elif word == b"fired":
                self._lost = FIRED.format(self._lease)
            elif word == b".":
                self._asked_at, answered = None, True
        return answered

    def _lose(self, words: str) -> GuardError:
        self._lost = self._lost or words
        return GuardError(f"power refused: {self._lost}")


class BeatingClock(RealClock):
    """Real time that renews the lease in every slice of a sleep."""

    SLICE = 0.1  # s

    def __init__(self, renew: Callable[[], object]) -> None:
        self._renew = renew

    def sleep(self, seconds: float) -> None:
        until = self.now() + seconds
        self._renew()
        while (left := until - self.now()) > 0:
            super().sleep(min(left, self.SLICE))
            self._renew()


def guard_for(feeds: Sequence[Feed], supplies: Mapping[str, Supply], unguarded: Sequence[str], clock: Clock) -> Guard:
    """The guard of a run on `clock`: a process, or none where every supply of `feeds` is in `unguarded`."""
    guarded = [feed for feed in feeds if feed.supply not in unguarded]
    if not guarded:
        return NoGuard()
    return GuardProcess(guarded, supplies, LEASE if isinstance(clock, RealClock) else STEPPED_LEASE)
