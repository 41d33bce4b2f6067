"""The keyboard on a real pseudo-terminal: which keys count, and a terminal that is given back as it was found."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

import pytest

from autobench.cli.keyboard import Keyboard

ROOT = Path(__file__).resolve().parents[2]
SOON = 5.0  # s: far more than is ever needed


@dataclass
class Pair:
    """Both ends of a pseudo-terminal: the person's, and the program's as a stream."""

    person: int
    stream: TextIO

    def types(self, text: str | bytes) -> None:
        os.write(self.person, text.encode() if isinstance(text, str) else text)

    def mode(self) -> list[object]:
        return termios.tcgetattr(self.stream.fileno())

    def canonical(self) -> bool:
        return bool(termios.tcgetattr(self.stream.fileno())[3] & (termios.ICANON | termios.ECHO))


@pytest.fixture
def pair() -> Iterator[Pair]:
    person, program = os.openpty()
    with os.fdopen(program, "r") as stream:
        yield Pair(person, stream)
    os.close(person)


def got(keyboard: Keyboard, count: int) -> list[str | None]:
    return [keyboard.get(SOON) for _ in range(count)]


def test_keys_by_their_names(pair: Pair) -> None:
    """Letters small and capital, space, Enter as CR and LF, backspace, a foot switch; the rest is swallowed whole."""
    with Keyboard(pair.stream) as keyboard:
        pair.types("rB sYn\r\n\x7f\x1b[25~")
        wanted = ["again", "back", "enter", "skip", "yes", "no", "enter", "enter", "erase", "enter"]
        assert got(keyboard, len(wanted)) == wanted
        pair.types("xq7é\x1b[A\x1b[15~\x1bOA\t\x04s")
        assert keyboard.get(SOON) == "skip"
        assert keyboard.get(0.0) is None


@pytest.mark.parametrize("typed", ["o", "O", "\x1b", "\x1b\x1b\x1b"], ids=["o", "capital", "Esc", "Esc held down"])
def test_the_off_key(pair: Pair, typed: str) -> None:
    """The letter o, or Esc on its own."""
    with Keyboard(pair.stream) as keyboard:
        pair.types(typed)
        assert keyboard.get(SOON) == "off"


def test_off_goes_before_what_was_typed_earlier_and_undoes_it(pair: Pair) -> None:
    """Whoever presses off does not wait for the keys in front of it."""
    with Keyboard(pair.stream) as keyboard:
        pair.types("rrso")
        assert keyboard.get(SOON) == "off"
        assert keyboard.get(0.0) is None


def test_off_is_seen_ahead_and_kept(pair: Pair) -> None:
    """`off` looks without waiting and without taking: other keys, and the off key itself, stay for `get`."""
    with Keyboard(pair.stream) as keyboard:
        assert not keyboard.off()
        pair.types("s")
        assert not keyboard.off()
        assert keyboard.get(SOON) == "skip"
        pair.types("o")
        assert keyboard.off()
        assert keyboard.off()
        assert keyboard.get(SOON) == "off"
        assert not keyboard.off()


def test_a_lone_escape_is_seen_ahead_after_its_silence(pair: Pair) -> None:
    """Looking again and again, as a run does, finds Esc without ever waiting for it."""
    with Keyboard(pair.stream) as keyboard:
        pair.types("\x1b")
        until = time.monotonic() + SOON
        while not keyboard.off():
            assert time.monotonic() < until
        assert keyboard.get(0.0) == "off"


def test_a_sequence_in_two_pieces_is_one(pair: Pair) -> None:
    """The second piece comes within the silence: no Esc, no letters."""
    with Keyboard(pair.stream) as keyboard:
        pair.types("\x1b")
        assert keyboard.get(0.0) is None
        pair.types("[B")
        pair.types("y")
        assert keyboard.get(SOON) == "yes"


def test_letters_come_as_themselves_while_typing(pair: Pair) -> None:
    """Printable signs of any kind, Enter and backspace by name; o is a letter, Esc still switches off."""
    with Keyboard(pair.stream) as keyboard:
        keyboard.typing = True
        pair.types("no Ω,é\x7f\t\x1b[A\r")
        assert got(keyboard, 8) == ["n", "o", " ", "Ω", ",", "é", "erase", "enter"]
        pair.types("foo")
        assert not keyboard.off()
        assert got(keyboard, 3) == ["f", "o", "o"]
        pair.types("\x1b")
        assert keyboard.get(SOON) == "off"


def test_a_letter_of_several_bytes_may_come_in_pieces(pair: Pair) -> None:
    """UTF-8 cut in the middle is put together (RFC 3629), and bytes that are none are swallowed."""
    with Keyboard(pair.stream) as keyboard:
        keyboard.typing = True
        first, second = "Ω".encode()
        pair.types(bytes([first]))
        assert keyboard.get(0.0) is None
        pair.types(bytes([second]))
        assert keyboard.get(SOON) == "Ω"
        pair.types(b"\xff\xfea")
        assert keyboard.get(SOON) == "a"


def test_earlier_keys_can_be_forgotten_but_never_off(pair: Pair) -> None:
    """What was typed before a question does not answer it; a wish to switch off stands."""
    with Keyboard(pair.stream) as keyboard:
        pair.types("y\r")
        keyboard.forget()
        assert keyboard.get(0.0) is None
        pair.types("yo")
        keyboard.forget()
        assert keyboard.get(0.0) == "off"


def test_a_closed_terminal_reads_as_off(pair: Pair) -> None:
    """Nobody can press anything any more: off, however often one asks."""
    with Keyboard(pair.stream) as keyboard:
        os.dup2(os.open(os.devnull, os.O_RDONLY), pair.person)  # closes the person's end
        assert got(keyboard, 2) == ["off", "off"]
        assert keyboard.off()


def test_the_end_of_a_pipe_reads_as_off() -> None:
    """A stream that is no terminal gives its keys and then off."""
    reading, writing = os.pipe()
    os.write(writing, b"s\n")
    os.close(writing)
    with os.fdopen(reading) as stream, Keyboard(stream) as keyboard:
        assert got(keyboard, 1) == ["off"]


def test_waiting_is_divided_by_the_pace(pair: Pair) -> None:
    """An hour at a pace of a million is soon over: a simulated bench runs faster than the wall clock."""
    with Keyboard(pair.stream, pace=1e6) as keyboard:
        assert keyboard.get(3600.0) is None


def test_keys_are_neither_echoed_nor_held_until_enter(pair: Pair) -> None:
    """Inside no echo and key by key, with signals still made by Ctrl-C and Ctrl-Z; outside all as it was."""
    before = pair.mode()
    with Keyboard(pair.stream):
        assert not pair.canonical()
        assert termios.tcgetattr(pair.stream.fileno())[3] & termios.ISIG
        os.set_blocking(pair.person, False)
        pair.types("s")
        with pytest.raises(BlockingIOError):
            os.read(pair.person, 100)
    assert pair.mode() == before


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_the_terminal_is_given_back_after_an_exception(pair: Pair, error: type[BaseException]) -> None:
    """Whatever ends the run, the mode is the one that was found, and keys nobody took do not reach the shell."""
    before = pair.mode()

    def cut_off() -> None:
        with Keyboard(pair.stream) as keyboard:
            assert keyboard.get(0.0) is None
            pair.types("rm\r")
            raise error

    with pytest.raises(error):
        cut_off()
    assert pair.mode() == before
    os.set_blocking(pair.stream.fileno(), False)
    with pytest.raises(BlockingIOError):
        os.read(pair.stream.fileno(), 100)


# A shell in small: its child has the terminal, in a process group of its own, as job control gives it to a program.
SHELL = """
import os, signal, sys, termios
from contextlib import contextmanager
from autobench.cli.keyboard import Keyboard

terminal = os.open(sys.argv[1], os.O_RDWR)  # the first terminal a session leader opens is its own
say = lambda *words: print(*words, flush=True)
usual = lambda: bool(termios.tcgetattr(terminal)[3] & termios.ICANON)

@contextmanager
def aside():
    say("aside")
    yield
    say("back")

child = os.fork()
if child == 0:
    os.setpgid(0, 0)
    signal.signal(signal.SIGTTOU, signal.SIG_IGN)
    os.tcsetpgrp(terminal, os.getpgrp())
    signal.signal(signal.SIGTTOU, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored by whatever is started in the background
    try:
        with Keyboard(os.fdopen(terminal), aside=aside) as keyboard:
            say("ready", usual())
            while (key := keyboard.get(60.0)) not in ("off", None):
                say(key, usual())
    except KeyboardInterrupt:
        say("interrupted", usual())
    os._exit(0)
while True:
    _, status = os.waitpid(child, os.WUNTRACED)
    if not os.WIFSTOPPED(status):
        break
    say("stopped", usual())
    os.kill(child, signal.SIGCONT)
say("ended", usual())
"""


@pytest.fixture
def job() -> Iterator[tuple[int, TextIO]]:
    """A program on its controlling terminal; the person's end of it, and what the program and its shell say."""
    person, theirs = os.openpty()
    command = [sys.executable, "-c", SHELL, os.ttyname(theirs)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, start_new_session=True, stdout=subprocess.PIPE, text=True, env=environment, cwd=ROOT
    ) as process:
        assert process.stdout is not None
        try:
            yield person, process.stdout
        finally:
            os.close(person)  # hangs the job up, should it still be there
            os.close(theirs)


def test_suspended_the_terminal_is_the_shell_s_and_continued_ours(job: tuple[int, TextIO]) -> None:
    """Ctrl-Z gives the mode back after all else stepped aside; continued, keys come one by one again."""
    person, said = job
    assert said.readline() == "ready False\n"
    for _ in range(2):
        os.write(person, b"\x1a")
        assert [said.readline() for _ in range(3)] == ["aside\n", "stopped True\n", "back\n"]
        os.write(person, b"s")
        assert said.readline() == "skip False\n"
    os.write(person, b"o")
    assert said.readline() == "ended True\n"


def test_ctrl_c_is_still_a_signal_and_gives_the_terminal_back(job: tuple[int, TextIO]) -> None:
    """Ctrl-C while a key is waited for: the exception comes through, and the mode is the one that was found."""
    person, said = job
    assert said.readline() == "ready False\n"
    os.write(person, b"\x03")
    assert [said.readline() for _ in range(2)] == ["interrupted True\n", "ended True\n"]
