"""One round as a process of its own that says on standard output what it shows; the kill tests start and kill it.

Arguments: board file, bench file, sequence file, record, a file, and `person` or `nobody`. What is written into that
file names what breaks from then on: `record`, `terminal`, `view`, or `memory`.
"""

from __future__ import annotations

import contextlib
import fcntl
import resource
import sys
import termios
from collections.abc import Callable, Iterator
from pathlib import Path

from autobench import app
from autobench.cli.keyboard import Keyboard
from autobench.errors import AutobenchError
from autobench.events import Event, PowerChanged, Prompted, ReadingTaken, StepStarted
from autobench.record.store import RunRecord
from autobench.run.stop import StopSignals
from autobench.views.terminal import Terminal

PAGES = Path("/proc/self/statm")
eaten: list[bytearray] = []  # kept: whoever goes on must do so with the memory that is left


def say(event: Event) -> None:
    match event:
        case StepStarted():
            print("STEP", event.step, flush=True)
        case ReadingTaken():
            print("READING", event.reading.step, flush=True)
        case PowerChanged():
            print("POWER", event.state, flush=True)
        case Prompted():
            print("PROMPT", event.kind, flush=True)
        case _:
            pass


class Spoiler:
    """What is broken, as the file says."""

    def __init__(self, file: str) -> None:
        self.file = Path(file)

    def breaks(self, name: str) -> bool:
        return self.file.exists() and self.file.read_text(encoding="utf-8") == name

    def view(self, name: str, shows: Callable[[Event], None]) -> Callable[[Event], None]:
        """A view that raises once its name is in the file."""

        def show(event: Event) -> None:
            if self.breaks(name):
                raise ValueError(f"a defect of the {name}")
            shows(event)

        return show

    def break_record(self) -> None:
        keep = RunRecord.write

        def write(record: RunRecord, event: Event) -> None:
            if self.breaks("record"):
                raise ValueError("a defect of the record")
            keep(record, event)

        RunRecord.write = write  # type: ignore[method-assign]

    def break_memory(self) -> None:
        """The run's own loop finds no memory left, at whatever it is just doing; and there is none from then on."""
        check = StopSignals.check

        def checked(stop: StopSignals) -> None:
            if not eaten and self.breaks("memory"):
                eat()
            check(stop)

        StopSignals.check = checked  # type: ignore[method-assign]


def eat() -> None:
    """Take all memory there may be, down to pieces of a kilobyte; raises `MemoryError`."""
    used = int(PAGES.read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used, resource.RLIM_INFINITY))
    for size in (1 << 20, 1 << 16, 1 << 10):
        with contextlib.suppress(MemoryError):
            while True:
                eaten.append(bytearray(size))
    raise MemoryError


@contextlib.contextmanager
def keys_of(person: str) -> Iterator[Keyboard | None]:
    """The keyboard of whoever sits there; the terminal on standard input governs this process then."""
    if person != "person":
        yield None
        return
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    with Keyboard(sys.stdin) as keyboard:
        yield keyboard


def main(board: str, bench: str, sequence: str, records: str, spoil: str, person: str) -> int:
    spoiler = Spoiler(spoil)
    spoiler.break_record()
    spoiler.break_memory()
    request = app.CheckRequest(board, bench=bench, sequence=sequence, records=records, unattended=person != "person")
    with Terminal(sys.stderr, bell=False) as terminal, keys_of(person) as keys:
        views = [say, spoiler.view("terminal", terminal.show), spoiler.view("view", lambda _event: None)]
        try:
            state = app.check(request, views, keys=keys)
        except AutobenchError as error:  # as the command line does: words, and 4
            print("ERROR", error, flush=True)
            return error.exit_code
    assert state.ended is not None
    with contextlib.suppress(BrokenPipeError):  # a test that closed this pipe has seen what it wanted
        print("END", state.ended.verdict, state.ended.reason, flush=True)
    return app.EXIT_CODES[state.ended.verdict]


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
