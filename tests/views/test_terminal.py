"""The live terminal as a stream: fallback, update rate, and a terminal that is given back as it was found."""

from __future__ import annotations

import io
import os
import re
import select
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from autobench.events import (
    Event,
    Exchanged,
    Notice,
    PowerChanged,
    Prompted,
    PromptEnded,
    PromptProgress,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    TouchPlace,
    Watched,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.lines import Lines
from autobench.views.terminal import Terminal, size_of

ROOT = Path(__file__).resolve().parents[2]
ABLE = {"TERM": "xterm-256color"}
ENTERED, LEFT, HIDDEN, SHOWN = "\x1b[?1049h", "\x1b[?1049l", "\x1b[?25l", "\x1b[?25h"  # xterm control sequences
STARTED = RunStarted(
    0.0, "run", "tarnbeck-8", "TB-1", {"video": "late"}, "baseline", "bench", True, None, ("a", "b"), {}, {}, "now"
)
ENDED = RunEnded(9.0, "faulty", "rail low", 9.0)
READING = Reading(
    "rail +5V far", "rails", "+5V", "U18.8", "voltage", 4.1, "V", 1e-4, 4.6, 5.2, "board file", Verdict.OUTSIDE
)
ROUND: list[Event] = [
    STARTED,
    StepStarted(1.0, "a", "rails", "+5V at U18.8"),
    PowerChanged(1.0, "+5V", "on", 5.0, 1.3),
    Watched(1.5, "+5V", 5.0, 0.8, False),
    ReadingTaken(2.0, READING),
    PowerChanged(3.0, "+5V", "settled", 5.0, 1.3),
    ENDED,
]


class Screen(io.StringIO):
    """A stream that says it is a terminal, and keeps what was written to it, write by write."""

    def __init__(self, encoding: str = "utf-8") -> None:
        super().__init__()
        self._named = encoding
        self.writes: list[str] = []

    @property
    def encoding(self) -> str:  # type: ignore[override]  # a text in memory has none, a terminal has
        return self._named

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        self.writes.append(text)
        return super().write(text)


class Wall:
    """A wall clock moved by hand."""

    def __init__(self) -> None:
        self.seconds = 100.0

    def __call__(self) -> float:
        return self.seconds


def terminal(stream: Screen, wall: Callable[[], float] = time.monotonic, **more: object) -> Terminal:
    return Terminal(stream, size=lambda: (80, 24), wall=wall, environment=ABLE, own_thread=False, **more)  # type: ignore[arg-type]


def assert_given_back(written: str) -> None:
    """The ordinary screen, a visible cursor and plain letters are what is left."""
    assert written.rindex(LEFT) > written.rindex(ENTERED)
    assert written.rindex(SHOWN) > written.rindex(HIDDEN)
    styles = re.findall(r"\x1b\[([\d;]*)m", written)
    assert styles[-1] == "0"
    rest = re.sub(r"\x1b\[[\d;]*m", "", written[written.rindex(LEFT) + len(LEFT) :])
    assert "\x1b" not in rest


@pytest.mark.parametrize(
    ("stream", "environment", "size"),
    [
        (io.StringIO(), ABLE, (80, 24)),
        (Screen(), {"TERM": "dumb"}, (80, 24)),
        (Screen(), {}, (80, 24)),
        (Screen("ascii"), ABLE, (80, 24)),
        (Screen(), ABLE, (30, 24)),
        (Screen(), ABLE, (80, 8)),
    ],
    ids=["a pipe", "a dumb terminal", "an unknown terminal", "a terminal without our signs", "too narrow", "too low"],
)
def test_plain_lines_where_no_screen_can_be_shown(
    stream: io.StringIO, environment: dict[str, str], size: tuple[int, int]
) -> None:
    """The view falls back to exactly the plain lines, without a single escape code."""
    wanted = io.StringIO()
    lines = Lines(wanted)
    with Terminal(stream, size=lambda: size, environment=environment) as view:
        assert not view.live
        for event in ROUND:
            view.show(event)
            lines.show(event)
    assert stream.getvalue() == wanted.getvalue()
    assert "\x1b" not in stream.getvalue()


def test_a_round_is_shown_and_its_outcome_stays() -> None:
    """While it runs the screen is our own; afterwards verdict and reading stand on the ordinary one."""
    stream, wall = Screen(), Wall()
    with terminal(stream, wall) as view:
        for event in ROUND:
            view.show(event)
            wall.seconds += 1.0
    written = stream.getvalue()
    assert_given_back(written)
    during, after = written.split(LEFT)
    assert "LIVE +5V 5.00 V 0.80 A (limit 1.30 A)" in during
    assert "FAULTY: rail low" in after
    assert "rail +5V far [U18.8]: 4.100 V ± 200 µV" in after
    assert " SIMULATED " in during
    assert " SIMULATED " in after


def test_never_more_than_ten_updates_a_second() -> None:
    """Two seconds of events every millisecond give at most twenty-one screenfuls, the first one at once."""
    stream, wall = Screen(), Wall()
    with terminal(stream, wall) as view:
        view.show(STARTED)
        assert len(stream.writes) == 1
        for number in range(2000):
            view.show(Watched(float(number), "+5V", 5.0, number / 1000.0, False))
            wall.seconds += 0.001
        assert 15 <= len(stream.writes) <= 21


def test_nothing_is_drawn_where_nothing_is_new() -> None:
    """Exchanges with instruments, which no view shows, cause no update, however many there are."""
    stream, wall = Screen(), Wall()
    with terminal(stream, wall) as view:
        view.show(STARTED)
        for _ in range(50):
            view.show(Exchanged(1.0, "meter", "READ?", "4.9", 0.1, None))
            wall.seconds += 1.0
        assert len(stream.writes) == 1


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, BrokenPipeError])
def test_the_terminal_is_given_back_after_an_exception(error: type[BaseException]) -> None:
    """Whatever ends the round in the middle: ordinary screen, cursor, no codes left, and what was read is said."""
    stream, wall = Screen(), Wall()

    def cut_off() -> None:
        with terminal(stream, wall) as view:
            for event in ROUND[:5]:
                view.show(event)
                wall.seconds += 1.0
            raise error

    with pytest.raises(error):
        cut_off()
    assert_given_back(stream.getvalue())
    after = stream.getvalue().split(LEFT)[1]
    assert "did not come to its end" in after
    assert "LIVE +5V" in after
    assert "rail +5V far" in after


def test_a_run_that_never_began_leaves_no_trace() -> None:
    """A mistake in a file is told by others; the terminal is not touched."""
    stream = Screen()
    with pytest.raises(RuntimeError), terminal(stream):
        raise RuntimeError
    assert stream.getvalue() == ""


def test_the_bell_rings_at_an_alarm_and_at_the_end_if_wanted() -> None:
    """One bell for an alarm, one for the end; none unless asked for."""
    for bell, wanted in ((True, 2), (False, 0)):
        stream, wall = Screen(), Wall()
        with terminal(stream, wall, bell=bell) as view:
            for event in (STARTED, Notice(1.0, "no answer"), Notice(2.0, "switch off by hand", urgent=True), ENDED):
                wall.seconds += 1.0
                view.show(event)
        assert stream.getvalue().count("\a") == wanted


def test_another_size_is_followed_and_the_old_screen_cleared() -> None:
    """After a change of size everything is drawn anew for the new one."""
    stream, wall, size = Screen(), Wall(), [(80, 24)]
    view = Terminal(stream, size=lambda: size[0], wall=wall, environment=ABLE, own_thread=False)
    with view:
        for event in ROUND[:4]:
            wall.seconds += 1.0
            view.show(event)
        size[0] = (60, 20)
        wall.seconds += 1.0
        assert view.refresh()
        assert "\x1b[2J" in stream.writes[-1]
        assert max(int(row) for row in re.findall(r"\x1b\[(\d+);1H", stream.writes[-1])) <= 20


def test_stepping_aside_leaves_the_ordinary_screen() -> None:
    """While something else has the terminal the cursor is there and what is live is said; then the screen is ours."""
    stream, wall = Screen(), Wall()
    with terminal(stream, wall) as view:
        for event in ROUND[:4]:
            view.show(event)
            wall.seconds += 1.0
        with view.aside():
            before = stream.getvalue()
        assert_given_back(before)
        assert "SIMULATED  LIVE +5V 5.00 V 0.80 A (limit 1.30 A)\n" in before[before.rindex(LEFT) :]
        view.show(ROUND[4])
        assert stream.writes[-1].startswith(ENTERED)


TOUCH = Prompted(
    2.0,
    "touch",
    "rail +5V far",
    "",
    (("enter", "take"), ("off", "off")),
    TouchPlace("meter", "U18.8", "U18.16", "U18 (RAM)", "8", "component side", "+5V", "4.60 V .. 5.20 V"),
)


def test_a_prompt_is_drawn_while_it_waits() -> None:
    """The panel comes with the prompt, follows it at ten updates a second at most, and goes with its end."""
    stream, wall = Screen(), Wall()
    with terminal(stream, wall) as view:
        for event in (*ROUND[:4], TOUCH):
            view.show(event)
            wall.seconds += 1.0
        assert "TOUCH U18.8 with the meter's red tip, black on U18.16" in stream.writes[-1]
        drawn = len(stream.writes)
        for number in range(300):  # 0.3 s of looks, one every millisecond
            view.show(PromptProgress(3.0, f"touching, 4.{number:03} V", number / 300))
            wall.seconds += 0.001
        assert len(stream.writes) - drawn <= 4
        wall.seconds += 1.0
        view.show(PromptEnded(4.0, "taken"))
        assert "TOUCH" not in stream.writes[-1]


def test_a_taken_touch_is_heard_and_what_was_read_there() -> None:
    """One stroke as it is taken, two more for a reading outside, each in a write of its own; silence unless wanted."""
    for bell in (True, False):
        stream, wall = Screen(), Wall()
        with terminal(stream, wall, bell=bell) as view:
            for event in (*ROUND[:2], TOUCH, PromptEnded(3.0, "taken"), ROUND[4]):
                view.show(event)
            for _ in range(300):
                wall.seconds += 0.01
                view.refresh()
        assert [write for write in stream.writes if "\a" in write] == ["\a"] * (3 if bell else 0)


def test_strokes_left_at_the_end_are_rung_with_their_spacing() -> None:
    """An alarm at the very end of a run at a hand bench is heard whole, plain lines or live screen."""
    for environment in (ABLE, {"TERM": "dumb"}):
        stream = Screen()
        with Terminal(stream, bell=True, size=lambda: (80, 24), environment=environment) as view:
            for event in (*ROUND[:2], TOUCH, Notice(3.0, "switch off by hand", urgent=True), ENDED):
                view.show(event)
        assert [write for write in stream.writes if "\a" in write] == ["\a"] * 5


def test_a_screen_that_cannot_be_drawn_becomes_plain_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    """The terminal is given back, what is live and what is asked is said again, and the round is followed."""

    def broken(*_: object) -> list[object]:
        raise ZeroDivisionError

    stream = Screen()
    with Terminal(stream, size=lambda: (80, 24), environment=ABLE) as view:
        for event in (*ROUND[:4], TOUCH):
            view.show(event)
        monkeypatch.setattr("autobench.views.terminal_frame.frame", broken)
        view.show(PromptProgress(3.0, "touching", 0.5))
        until = time.monotonic() + 10
        while view.live:
            view.show(PromptProgress(3.0, "touching", 0.5))
            assert time.monotonic() < until
            time.sleep(0.01)
        view.show(PromptEnded(4.0, "skipped", "no access"))
        view.show(ENDED)
    written = stream.getvalue()
    assert "the live screen failed" in written
    assert "SIMULATED  +5V ON: 5.000 V" in written
    assert "SIMULATED  TOUCH U18.8 with the meter's red tip" in written
    assert "SIMULATED    U18.8 – skipped: no access" in written
    assert "SIMULATED  FAULTY: rail low" in written


def test_no_colour_where_none_is_wanted() -> None:
    """`NO_COLOR` leaves bold and reverse and takes every colour away (common practice)."""
    written = []
    for environment in (ABLE, ABLE | {"NO_COLOR": "1"}):
        stream = Screen()
        with Terminal(stream, size=lambda: (80, 24), environment=environment, own_thread=False) as view:
            for event in ROUND:
                view.show(event)
        written.append({code for part in re.findall(r"\x1b\[([\d;]*)m", stream.getvalue()) for code in part.split(";")})
    assert "31" in written[0]
    assert written[1] <= {"0", "1", "7"}


def test_a_stopped_terminal_does_not_hold_up_the_round() -> None:
    """While the terminal takes nothing (Ctrl-S) events are still taken in; once it does, the outcome is shown."""
    allowed, began = threading.Event(), threading.Event()

    class Stopped(Screen):
        def write(self, text: str) -> int:
            began.set()
            assert allowed.wait(10)
            return super().write(text)

    stream = Stopped()
    with Terminal(stream, size=lambda: (80, 24), environment=ABLE) as view:
        view.show(STARTED)
        assert began.wait(10)
        for event in ROUND[1:]:
            view.show(event)
        assert stream.getvalue() == ""
        allowed.set()
    assert "FAULTY: rail low" in stream.getvalue()
    assert_given_back(stream.getvalue())


def test_a_terminal_that_is_gone_is_let_go() -> None:
    """Writing to a closed terminal raises nothing: the run's own outcome must not be hidden by it."""

    class Gone(Screen):
        def write(self, text: str) -> int:
            raise OSError(5, "Input/output error")

    with Terminal(Gone(), size=lambda: (80, 24), environment=ABLE) as view:
        for event in ROUND:
            view.show(event)


def test_a_terminal_of_unknown_size_counts_as_usual() -> None:
    """A stream that cannot say how large it is gets 80 by 24."""
    assert size_of(io.StringIO()) == (80, 24)  # common practice


PROGRAM = """
import os, sys
terminal = os.open(sys.argv[1], os.O_RDWR)  # the first terminal a session leader opens is its own
os.dup2(terminal, 0), os.dup2(terminal, 1), os.dup2(terminal, 2)
from autobench import app
from autobench.views.terminal import Terminal
request = app.CheckRequest("tarnbeck-8", records="sqlite://", unattended=True, simulation=app.Simulation(seed=1))
with Terminal(sys.stderr, bell=True) as view:
    state = app.check(request, [view.show])
sys.exit(app.EXIT_CODES[state.ended.verdict])
"""


@contextmanager
def program_on_a_terminal() -> Iterator[tuple[subprocess.Popen[bytes], int]]:
    """A whole round in a process of its own, on a pseudo-terminal of 80 by 24; yields it and our end."""
    ours, theirs = os.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    environment = {**os.environ, "TERM": "xterm", "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    command = [sys.executable, "-c", PROGRAM, os.ttyname(theirs)]
    process = subprocess.Popen(command, start_new_session=True, env=environment, cwd=ROOT)
    try:
        yield process, ours
    finally:
        process.kill()
        process.wait()
        os.close(ours)
        os.close(theirs)


def read_until(ours: int, finished: Callable[[str], bool], seconds: float = 60.0) -> str:
    """What comes from the terminal until `finished` says so of all that came and nothing more is waiting."""
    seen, done = b"", False
    until = time.monotonic() + seconds
    while not done:
        assert time.monotonic() < until, seen[-400:]
        done = finished(seen.decode("utf-8", "replace"))
        while select.select([ours], [], [], 0.02)[0]:
            seen += os.read(ours, 65536)
            done = False
    return seen.decode("utf-8", "replace")


def test_ctrl_c_in_the_middle_gives_the_terminal_back() -> None:
    """Ctrl-C while the board is live: everything off, the verdict stopped, and the terminal as it was."""
    with program_on_a_terminal() as (process, ours):
        seen = read_until(ours, lambda text: "LIVE +5V" in text)
        os.write(ours, b"\x03")
        seen += read_until(ours, lambda _: process.poll() is not None)
        assert process.returncode == 4
    assert_given_back(seen)
    assert "STOPPED: stopped by Ctrl-C" in seen[seen.rindex(LEFT) :]
    assert "every output off, proved" in seen[seen.rindex(LEFT) :]


def test_a_whole_round_on_a_terminal() -> None:
    """A good board, live in a real terminal: its verdict stays, the exit code is its, and no line was too long."""
    with program_on_a_terminal() as (process, ours):
        seen = read_until(ours, lambda _: process.poll() is not None)
        assert process.returncode == 0
    assert_given_back(seen)
    after = re.sub(r"\x1b\[[\d;]*m", "", seen[seen.rindex(LEFT) + len(LEFT) :])
    assert "GOOD" in after
    assert all(len(line) <= 80 for line in after.split("\r\n"))
