"""The live terminal: a screen of its own while a round runs, and what matters in the scroll-back afterwards.

What is shown is a pure function of the folded run (`terminal_frame`, `terminal_summary`); this module owns the stream:
when something is written, and that the terminal is given back as it was found. A stream that is no terminal, or one
that cannot place its cursor or show our signs, gets plain lines. Decides nothing about the run.
"""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Self, TextIO

from autobench.events import Event
from autobench.views.bells import SPACING, Bells
from autobench.views.lines import Lines
from autobench.views.run_state import RunState, fold
from autobench.views.wording import harmless, live_outputs, output_words

LEAST_SECONDS = 0.1  # between two updates of the screen, by the wall clock
MOST_RINGING = 5.0  # s that are spent on strokes of the bell when all else is over
LEAST_WIDTH, LEAST_HEIGHT = 40, 12  # smaller terminals get plain lines
USUAL_SIZE = (80, 24)  # where a terminal does not know its own
NOT_ABLE = ("", "dumb", "unknown")
# Private modes of all terminals in use: a screen of its own, cursor shown or hidden; cursor placing; erasing.
ENTER = "\x1b[?1049h\x1b[?25l\x1b[2J"
LEAVE = "\x1b[0m\x1b[?25h\x1b[?1049l"
PLACE, ERASE_LINE, ERASE_BELOW, ERASE_ALL = "\x1b[{row};1H", "\x1b[K", "\x1b[J", "\x1b[2J"
BELL = "\a"

Size = Callable[[], tuple[int, int]]


class Terminal:
    """A view of one run, used as `with Terminal(stream) as view: …view.show…`.

    The time left comes from the planned seconds of each step in the run's first event. `bell` rings at an alarm, at
    the end, and where a person holds the probes (see `bells`). Drawing and ringing are done by a thread of their own,
    so that a terminal that is slow or was stopped by Ctrl-S never holds up the run; with `own_thread=False` they happen
    in `show` and `refresh` instead. `size` (columns, lines), `wall` (seconds) and `environment` stand in for the real
    ones.
    """

    def __init__(
        self,
        stream: TextIO,
        *,
        bell: bool = False,
        size: Size | None = None,
        wall: Callable[[], float] = time.monotonic,
        environment: Mapping[str, str] | None = None,
        own_thread: bool = True,
    ) -> None:
        environment = os.environ if environment is None else environment
        self._stream = stream
        self._size = size or (lambda: size_of(stream))
        self._wall = wall
        self._colour = not environment.get("NO_COLOR")
        self._lines = None if able(stream, self._size(), environment) else Lines(stream)
        self._bell = bell and (self._lines is None or stream.isatty())
        self._bells = Bells(wall, self._bell)
        self._own_thread = own_thread
        self._failed = False  # the live screen did; plain lines went on in its place
        self._state = RunState()
        self._drawn: tuple[RunState, tuple[int, int]] | None = None
        self._drawn_at = -LEAST_SECONDS
        self._inside = False  # on the screen of our own
        self._writing = threading.RLock()
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def live(self) -> bool:
        """Whether this is a live screen and not plain lines."""
        return self._lines is None

    def __enter__(self) -> Self:
        if self._own_thread and (self.live or self._bell):
            self._thread = threading.Thread(target=self._keep_drawing, name="terminal", daemon=True)
            self._thread.start()
        return self

    def __exit__(self, *raised: object) -> None:
        """Give the terminal back and leave what matters in its scroll-back; a terminal that is gone is let go."""
        self._over.set()
        with uninterrupted(), suppress(OSError, ValueError), self._writing:
            try:
                self._leave()
            finally:
                self._write(self._farewell())
                self._ring()
        if self._thread is not None:
            self._thread.join()

    def show(self, event: Event) -> None:
        """Take one event in."""
        self._bells.hear(event)
        lines = self._lines
        if lines is not None:
            with self._writing:
                lines.show(event)
                if self._thread is None:
                    self._ring()
            if not self._failed:
                return
        if fold(self._state, event) is not self._state:  # most events are exchanges, which no view shows
            self._state = fold(self._state, harmless(event))
        if not self._own_thread:
            self.refresh()

    def refresh(self) -> bool:
        """Draw if there is something new and the last update is long enough ago; says whether it drew.

        A stroke of the bell that is due is rung as well.
        """
        with self._writing:
            if self._over.is_set():
                return False
            drew = self.live and self._drawn_anew()
            self._ring()
            return drew

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Step aside for something else: the ordinary screen is back, cursor and all, until this is left again.

        What may carry volts meanwhile is said first.
        """
        with self._writing:
            inside = self._inside
            self._leave()
            if inside:
                self._write("".join(f"{line}\n" for line in live_lines(self._state)))
            try:
                yield
            finally:
                self._drawn = None

    def _drawn_anew(self) -> bool:
        """Draw, unless nothing is new or the last update was just now."""
        if self._state.started is None:
            return False
        now, wanted = self._wall(), (self._state, self._size())
        if now - self._drawn_at < LEAST_SECONDS or self._shows(wanted):
            return False
        self._drawn_at = now
        self._draw(wanted)
        return True

    def _shows(self, wanted: tuple[RunState, tuple[int, int]]) -> bool:
        """Whether that state stands on a screen of that size already."""
        return self._drawn is not None and self._drawn[0] is wanted[0] and self._drawn[1] == wanted[1]

    def _draw(self, wanted: tuple[RunState, tuple[int, int]]) -> None:
        """One screenful in one write."""
        from autobench.views.terminal_frame import frame
        from autobench.views.terminal_text import sent

        state, (width, height) = wanted
        lines = sent(frame(state, width, height), width, self._colour)
        parts = [] if self._inside else [ENTER]
        if self._drawn is not None and self._drawn[1] != wanted[1]:
            parts.append(ERASE_ALL)
        for row, line in enumerate(lines, 1):
            # Erased before it is written: after the last column an erasure would take the last sign away.
            parts.append(f"{PLACE.format(row=row)}{ERASE_LINE}{line}")
        if len(lines) < height:
            parts.append(f"{PLACE.format(row=len(lines) + 1)}{ERASE_BELOW}")
        self._inside = True
        self._write("".join(parts))
        self._drawn = wanted

    def _leave(self) -> None:
        """Back to the ordinary screen."""
        if self._inside:
            self._write(LEAVE)
            self._inside = False

    def _farewell(self) -> str:
        """What stays, as text."""
        if self._state.started is None:
            return ""  # never begun, or all of it was said in plain lines
        from autobench.views.terminal_summary import summary
        from autobench.views.terminal_text import sent

        width, height = self._size()
        return "".join(f"{line}\n" for line in sent(summary(self._state, width, height), width, self._colour))

    def _ring(self) -> None:
        if self._bells.due():
            self._write(BELL)

    def _ring_out(self) -> None:
        """Ring what is left to be rung when the run is over, an alarm above all."""
        until = time.monotonic() + MOST_RINGING
        while (wait := self._bells.wait()) is not None and time.monotonic() < until:
            time.sleep(min(wait, SPACING))
            with suppress(OSError, ValueError), self._writing:
                self._ring()

    def _write(self, text: str) -> None:
        self._stream.write(text)
        self._stream.flush()

    def _keep_drawing(self) -> None:
        """The thread: looks ten times a second whether there is something to draw, and rings in between.

        Whatever goes wrong here concerns the screen alone: the run is followed to its end in plain lines, so that
        prompts and alarms are still seen, and the verdict is said as soon as the terminal is given back.
        """
        while not self._over.wait(min(LEAST_SECONDS, self._bells.wait() or LEAST_SECONDS)):
            try:
                self.refresh()
            except OSError:
                return  # the terminal is gone
            except Exception:
                if not self.live:
                    return  # not even a bell can be rung
                with suppress(OSError, ValueError), self._writing:
                    self._go_on_in_lines()
        self._ring_out()

    def _go_on_in_lines(self) -> None:
        """From the live screen to plain lines in the middle of a run: what is live and what is asked is said again."""
        self._failed = True
        lines = self._lines = Lines(self._stream)
        self._leave()
        self._write("the live screen failed; the round goes on, and its outcome will be said here\n")
        state = self._state
        for event in (state.started, *dict(state.outputs).values(), *dict(state.looks).values(), state.prompt):
            if event is not None:
                lines.show(event)


def live_lines(state: RunState) -> list[str]:
    """Outputs that may carry volts, in words."""
    simulated = "SIMULATED  " if state.started is not None and state.started.simulated else ""
    return [f"{simulated}{output_words(*output)}" for output in live_outputs(state)]


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Ctrl-C changes nothing here: a goodbye cut in half would leave the terminal in our own state."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    former = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if former is None else former)


def able(stream: TextIO, size: tuple[int, int], environment: Mapping[str, str]) -> bool:
    """Whether a live screen can be shown: a terminal, large enough, that places its cursor and shows our signs."""
    if not stream.isatty() or environment.get("TERM", "").lower() in NOT_ABLE:
        return False
    encoding = (getattr(stream, "encoding", None) or "").lower().replace("-", "").replace("_", "")
    return encoding.startswith("utf") and size[0] >= LEAST_WIDTH and size[1] >= LEAST_HEIGHT


def size_of(stream: TextIO) -> tuple[int, int]:
    """Columns and lines of the terminal behind a stream, as they are now."""
    try:
        columns, lines = os.get_terminal_size(stream.fileno())
    except (OSError, ValueError):
        return USUAL_SIZE
    return columns or USUAL_SIZE[0], lines or USUAL_SIZE[1]
