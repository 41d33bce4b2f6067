"""All the files of one run, read together, so that the mistakes of all of them are told at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

from autobench.documents import places
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.included import read_sequence
from autobench.documents.reading import read
from autobench.documents.section import Section
from autobench.documents.sequence import Sequence
from autobench.errors import FileError, Mistake

Model = TypeVar("Model", bound=Section)
Made = TypeVar("Made")


@dataclass(frozen=True)
class BenchDocuments:
    """A bench file and its drivers, read and checked; `hashes` are those of all files of a run, by path."""

    bench: Bench
    drivers: dict[str, Driver]
    hashes: dict[str, str]


@dataclass(frozen=True)
class Documents(BenchDocuments):
    """The files of a round, read and checked."""

    board: Board
    sequence: Sequence


def read_documents(board: str, bench: str, sequence: str) -> Documents:
    """Read bench, drivers, board and sequence; raises `FileError` with the mistakes of all of them at once."""
    paths = {
        "bench": places.find_bench(bench),
        "board": places.find_board(board),
        "sequence": places.find_sequence(sequence),
    }
    mistakes: list[Mistake] = []
    read_bench = attempt(paths["bench"], Bench, mistakes)
    read_board = attempt(paths["board"], Board, mistakes)
    read_steps = attempted(lambda: read_sequence(paths["sequence"]), mistakes)
    drivers: dict[str, Driver] = {}
    if read_bench is not None:
        drivers = read_drivers(read_bench, paths["bench"], paths, mistakes)
    if mistakes or read_bench is None or read_board is None or read_steps is None:
        raise FileError(mistakes)
    whole_sequence, included = read_steps
    hashes = {str(path): places.sha256_of(path) for path in (*paths.values(), *included)}
    return Documents(read_bench, drivers, hashes, read_board, whole_sequence)


@lru_cache(maxsize=4)
def other_boards(name: str) -> tuple[Board, ...]:
    """Every board file there is but that of `name`; one with mistakes is left out, since nobody asked for it."""
    found = []
    for other, path in places.list_boards():
        if other != name:
            board = attempt(path, Board, [])
            found += [board] if board is not None else []
    return tuple(found)


def read_bench_file(bench: str) -> tuple[Bench, dict[str, Driver]]:
    """A bench file with the drivers of its instruments; raises `UsageError` and `FileError`."""
    path = places.find_bench(bench)
    found = read(path, Bench)
    mistakes: list[Mistake] = []
    drivers = read_drivers(found, path, {}, mistakes)
    if mistakes:
        raise FileError(mistakes)
    return found, drivers


def read_bench_documents(bench: str) -> BenchDocuments:
    """A bench file with its drivers and their hashes; raises `UsageError` and `FileError`."""
    path = places.find_bench(bench)
    found, drivers = read_bench_file(bench)
    files = {path, *(places.find_driver(item.driver, path) for item in found.instruments.values())}
    return BenchDocuments(found, drivers, {str(file): places.sha256_of(file) for file in sorted(files)})


def read_drivers(bench: Bench, beside: Path, paths: dict[str, Path], mistakes: list[Mistake]) -> dict[str, Driver]:
    """The driver of every instrument; adds their files to `paths`."""
    drivers: dict[str, Driver] = {}
    for name, instrument in bench.instruments.items():
        path = places.find_driver(instrument.driver, beside)
        driver = attempt(path, Driver, mistakes)
        if driver is not None:
            drivers[name] = driver
            paths[f"driver {instrument.driver}"] = path
    return drivers


def attempt(path: Path, model: type[Model], mistakes: list[Mistake]) -> Model | None:
    """The file as a `model`, or None with its mistakes (each once) added to the list."""
    return attempted(lambda: read(path, model), mistakes)


def attempted(reading: Callable[[], Made], mistakes: list[Mistake]) -> Made | None:
    """What `reading` gives, or None with its mistakes (each once) added to the list."""
    try:
        return reading()
    except FileError as error:
        mistakes.extend(mistake for mistake in error.mistakes if mistake not in mistakes)
        return None
