"""Ctrl-C, SIGTERM and SIGHUP as a wish to stop, noticed at safe points. It switches nothing itself.

A signal that raised at any instruction could cut a command to a supply in half or interrupt the switching-off. So the
handler only counts; every exchange with an instrument and every slice of a wait calls `check`, which raises. While
outputs are being made safe, `check` is not called, and any number of further signals changes nothing. Ctrl-Z does
nothing while a run lasts.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, Self

from autobench.errors import StoppedError
from autobench.run.guard import Guard, NoGuard

WORDS = {"SIGINT": "stopped by Ctrl-C", "SIGTERM": "stopped by SIGTERM", "SIGHUP": "the terminal was closed"}


class StopSignals:
    """Context manager that owns the three signals while a run lasts."""

    def __init__(self) -> None:
        self.reason: str | None = None
        self.also: Callable[[], str | None] = lambda: None  # another source of wishes to stop, such as an off key
        self.guard: Guard = NoGuard()
        self._thread = threading.get_ident()  # of the run: the lease is renewed by its own loop and by nobody else
        self._former: dict[int, Any] = {}
        self._deferrals = 0

    def __enter__(self) -> Self:
        self._thread = threading.get_ident()
        # Only the main thread may own signals; elsewhere (a run inside somebody's program) the caller decides.
        if threading.current_thread() is threading.main_thread():
            for name in WORDS:
                number = getattr(signal, name, None)
                if number is not None:
                    self._former[number] = signal.signal(number, self._noticed)
            if hasattr(signal, "SIGTSTP"):  # a suspended program watches nothing
                self._former[signal.SIGTSTP] = signal.signal(signal.SIGTSTP, signal.SIG_IGN)
        return self

    def __exit__(self, *raised: object) -> None:
        for number, former in self._former.items():
            signal.signal(number, signal.SIG_DFL if former is None else former)

    def _noticed(self, number: int, _frame: FrameType | None) -> None:
        self.reason = self.reason or WORDS[signal.Signals(number).name]

    @property
    def making_safe(self) -> bool:
        """Whether outputs are being made safe, which nothing may break into."""
        return self._deferrals > 0

    def renew(self, extra: float = 0.0) -> None:
        """Renew the guard's lease, by `extra` seconds more than usual; a guard that is lost is a reason to stop.

        From any other thread than the run's own it does nothing: that would go on while the run hangs.
        """
        if threading.get_ident() == self._thread:
            self._wished(self.guard.beat(extra))

    def _wished(self, reason: str | None) -> None:
        """Keep a reason to stop. Where there is none nothing is written: a signal may come between two instructions,
        and what its handler kept must not be undone."""
        if reason is not None:
            self.reason = self.reason or reason

    def check(self) -> None:
        """Raise `StoppedError` if somebody wants the run to stop and nothing is being made safe. Renews the lease."""
        self.renew()
        self._wished(self.also())
        if self.reason and not self._deferrals:
            raise StoppedError(self.reason)

    @contextmanager
    def deferred(self) -> Iterator[None]:
        """While this is entered `check` lets everything through; the wish is kept."""
        self._deferrals += 1
        try:
            yield
        finally:
            self._deferrals -= 1
