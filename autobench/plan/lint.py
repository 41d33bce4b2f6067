"""Every mistake of a set of files at once: each by itself, then those that belong together held against each other.

It reads what it is given and the files those name; it opens no instrument, and every rule stands with the file or the
pair of files it is about.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

from autobench.documents import places
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.file_kinds import Inspected, inspect
from autobench.documents.reading import mistake_of
from autobench.documents.section import Complaint
from autobench.documents.sequence import Sequence as SequenceFile
from autobench.errors import Mistake, UsageError
from autobench.plan.bench_fit import bench_complaints
from autobench.plan.board_fit import board_complaints
from autobench.plan.step_fit import Wired, step_complaints

Look = Callable[[Path], Inspected]


def lint(paths: Sequence[Path]) -> list[Mistake]:
    """The mistakes of all files, each once: file by file as given, in reading order within a file.

    A bench is held against its drivers and the boards its plates are for (a file given here, else one beside it, else
    the shipped one); the steps of a sequence against the benches given.
    """
    look = cache(inspect)  # a driver that several benches name is read once
    files = [look(path) for path in paths]
    found = [mistake for file in files for mistake in file.mistakes]
    boards = {file.name: file.document for file in files if isinstance(file.document, Board)}
    wired: list[Wired] = []
    for file in files:
        if isinstance(file.document, Bench):
            drivers: dict[str, Driver] = {}
            found += drivers_of(file, file.document, drivers, look)
            wired.append((file.document, drivers))
            found += told(file, bench_complaints(file.document, drivers))
            for name in file.document.fixtures:
                board = boards.get(name) or board_beside(file.path, name, look)
                if board is not None:
                    found += told(file, board_complaints(file.document, drivers, board))
    for file in files:
        if isinstance(file.document, SequenceFile):
            found += told(file, step_complaints(file.document, wired))
    order = {str(path): number for number, path in enumerate(paths)}
    return sorted(set(found), key=lambda mistake: (order.get(mistake.file, len(order)), mistake))


def drivers_of(file: Inspected, bench: Bench, drivers: dict[str, Driver], look: Look) -> Iterator[Mistake]:
    """Fills `drivers` by instrument; the mistakes of driver files, and of names that lead to none."""
    for name, instrument in bench.instruments.items():
        try:
            path = places.find_driver(instrument.driver, file.path)
        except UsageError as error:
            yield from told(file, [Complaint(("instruments", name, "driver"), str(error))])
            continue
        inspected = look(path)
        if isinstance(inspected.document, Driver):
            drivers[name] = inspected.document
        elif inspected.kind not in (None, "driver"):
            text = f"{instrument.driver} is the file of a {inspected.kind}, not of a driver"
            yield from told(file, [Complaint(("instruments", name, "driver"), text)])
        else:
            yield from inspected.mistakes


def board_beside(bench: Path, name: str, look: Look) -> Board | None:
    """The board a plate is for: beside the bench file, else the shipped one; `None` where there is none."""
    beside = bench.parent / f"{name}{places.SUFFIX}"
    path = beside if places.is_file(beside) else dict(places.list_boards()).get(name)
    document = look(path).document if path is not None else None
    return document if isinstance(document, Board) else None


def told(file: Inspected, complaints: Iterator[Complaint] | Sequence[Complaint]) -> Iterator[Mistake]:
    """Complaints about a file with their places."""
    if file.tree is not None:
        for complaint in complaints:
            yield mistake_of(file.tree, complaint)
