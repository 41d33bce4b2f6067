"""The keys of the person at the bench while a run lasts, read one by one and without echo. POSIX terminals only.

Owns the terminal's input mode and gives it back on every way out. What a key does is decided by others: here a key is
a word. A foot switch is a keyboard to us.
"""

from __future__ import annotations

import codecs
import os
import select
import signal
import sys
import termios
import threading
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext, suppress
from types import FrameType
from typing import Any, Self, TextIO

from autobench.cli.key_codes import ESCAPE, next_key
from autobench.views.terminal import uninterrupted

OFF = "off"
LETTERS = {"r": "again", "b": "back", "s": "skip", "o": OFF, "y": "yes", "n": "no", " ": "enter"}
SILENCE = 0.05  # s without anything more, after which an escape sign was the key and no beginning of a sequence
CHUNK = 1024  # bytes


class Keyboard:
    """Keys while this is entered: `with Keyboard() as keyboard: … keyboard.get(0.1)`. For the main thread.

    Ctrl-C stays a signal. While the process is suspended (Ctrl-Z) the terminal is as it was found; `aside` is entered
    around that, so that a screen can step aside too. A stream that is no terminal is read all the same, its mode is
    left alone. In the background nothing is read and nothing is set, so that nobody is stopped for it.

    `typing`: while true, letters come as themselves and only Esc switches off. `pace` divides the seconds waited (a
    simulated bench runs faster than the wall clock).
    """

    def __init__(
        self,
        stream: TextIO | None = None,
        *,
        aside: Callable[[], AbstractContextManager[Any]] = nullcontext,
        pace: float = 1.0,
    ) -> None:
        self.typing = False
        self.pace = pace
        self._stream = sys.stdin if stream is None else stream  # kept, lest it be closed under us
        self._number = self._stream.fileno()
        self._aside = aside
        self._found: list[Any] | None = None  # the mode to give back
        self._former: dict[int, Any] = {}  # handlers of signals
        self._decoder = codecs.getincrementaldecoder("utf-8")("ignore")
        self._typed = ""  # signs that are not yet keys
        self._typed_at = 0.0  # when the last of them came, by the wall clock
        self._keys: list[str] = []  # a sign, or the name of a key
        self._closed = False

    def __enter__(self) -> Self:
        self._hold()
        if threading.current_thread() is threading.main_thread():
            for number, handler in ((signal.SIGTSTP, self._suspend), (signal.SIGCONT, self._continue)):
                if signal.getsignal(number) is not signal.SIG_IGN:  # ignored where there is no job control
                    self._former[number] = signal.signal(number, handler)
        return self

    def __exit__(self, *raised: object) -> None:
        """Give the terminal back; keys that nobody took are dropped, or they would land in the shell."""
        with uninterrupted():
            for number, former in self._former.items():
                signal.signal(number, signal.SIG_DFL if former is None else former)
            self._former = {}
            if self._found is not None and self._foreground():
                with suppress(termios.error):
                    termios.tcflush(self._number, termios.TCIFLUSH)
            self._release()

    def get(self, seconds: float) -> str | None:
        """The next key, waiting at most `seconds` (divided by `pace`) for it; `None` if there was none.

        `enter` (also space and a foot switch's F13), `again`, `back`, `skip`, `off`, `yes`, `no`, `erase`; while typing
        the sign itself, `enter`, `erase` and `off`. An off key comes before all that were typed earlier, and undoes
        them. The end of the stream, which is a terminal that was closed, reads as `off` from then on.
        """
        until = time.monotonic() + seconds / self.pace
        self._hold()
        while True:
            self._read(0.0)
            key = self._next()
            left = until - time.monotonic()
            if key is not None or left <= 0.0:
                return key
            # A lone escape sign becomes a key by mere silence.
            self._read(min(left, SILENCE) if self._typed else left)

    def off(self) -> bool:
        """Whether an off key waits, read ahead without waiting; it and all other keys stay for `get`."""
        self._hold()
        self._read(0.0)
        return self._closed or any(self._meaning(key) == OFF for key in self._keys)

    def forget(self) -> None:
        """Drop the keys typed so far, except an off key: what was typed before a question does not answer it."""
        self._read(0.0)
        self._keys = [key for key in self._keys if self._meaning(key) == OFF]

    def _next(self) -> str | None:
        """The next key that means something, if there is one."""
        if self._closed or any(self._meaning(key) == OFF for key in self._keys):
            self._keys = []
            return OFF
        while self._keys:
            meaning = self._meaning(self._keys.pop(0))
            if meaning is not None:
                return meaning
        return None

    def _meaning(self, key: str) -> str | None:
        """What a key means now; `None` for one that means nothing."""
        if key == ESCAPE:
            return OFF
        if len(key) > 1:
            return key
        return key if self.typing else LETTERS.get(key.lower())

    def _read(self, seconds: float) -> None:
        """Take in what was typed, waiting at most `seconds` for the first of it."""
        if self._closed:
            return
        if not self._foreground():
            time.sleep(seconds)
            return
        try:
            while select.select([self._number], [], [], seconds)[0]:
                chunk = os.read(self._number, CHUNK)
                if not chunk:
                    self._closed = True
                    return
                self._typed += self._decoder.decode(chunk)
                self._typed_at = time.monotonic()
                seconds = 0.0
        except OSError:  # EIO: the other end of the terminal is gone
            self._closed = True
        self._sort()

    def _sort(self) -> None:
        """Signs to keys, as far as they are whole."""
        silent = time.monotonic() - self._typed_at >= SILENCE
        while self._typed:
            key, taken = next_key(self._typed, silent)
            if taken == 0:
                return
            self._typed = self._typed[taken:]
            if key is not None:
                self._keys.append(key)

    def _foreground(self) -> bool:
        """Whether the terminal is ours to read: asked for in the background it would stop the process."""
        try:
            return os.tcgetpgrp(self._number) == os.getpgrp()
        except OSError:
            return True  # no terminal, or not the one that governs this process

    def _hold(self) -> None:
        """Keys one by one and without echo, wherever that is not so already (a shell sets its own mode on `fg`)."""
        if not os.isatty(self._number) or not self._foreground():
            return
        with suppress(termios.error):  # closed meanwhile: reading will find out
            mode = termios.tcgetattr(self._number)
            if not mode[3] & (termios.ICANON | termios.ECHO):
                return
            if self._found is None:
                self._found = [*mode[:6], list(mode[6])]
            mode[3] &= ~(termios.ICANON | termios.ECHO)
            mode[6][termios.VMIN], mode[6][termios.VTIME] = 1, 0
            # Not "after what was written is out": a terminal stopped by Ctrl-S would hold up the run here.
            termios.tcsetattr(self._number, termios.TCSANOW, mode)

    def _release(self) -> None:
        """The terminal's mode as it was found."""
        if self._found is not None and self._foreground():
            with suppress(termios.error):
                termios.tcsetattr(self._number, termios.TCSANOW, self._found)

    def _suspend(self, _number: int, _frame: FrameType | None) -> None:
        """Ctrl-Z: step aside, stop as any program does, and be back when continued."""
        with self._aside():
            self._release()
            signal.signal(signal.SIGTSTP, signal.SIG_DFL)
            os.kill(os.getpid(), signal.SIGTSTP)  # here the process stands still
            signal.signal(signal.SIGTSTP, self._suspend)
        self._hold()

    def _continue(self, _number: int, _frame: FrameType | None) -> None:
        """Continued after whatever stopped the process, SIGSTOP included."""
        self._hold()
