"""Whether what `architecture` of a board file says is what its sections describe. Pure.

An observation means opposite things on boards that are built differently: a flag that is wrong makes fingerprints lie.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from autobench.documents.part_kinds import CPU_NETS
from autobench.documents.parts import Part
from autobench.documents.section import Complaint
from autobench.documents.words import allowed_words

if TYPE_CHECKING:
    from autobench.documents.board import Board

# What `architecture` calls a source -> the kind of part that is one.
CLOCK_SOURCES = {"divider": "divider", "video chip": "video", "gate array": "gate array", "own crystal": "oscillator"}
RESET_SOURCES = {"timer": "reset timer", "supervisor": "reset supervisor", "video chip": "video"}
# Nets whose counts are a fingerprint of one class of CPU only.
TELLING = {"FETCH": "R", "REFRESH": "R", "SYNC": "S"}


def flag_complaints(board: Board) -> Iterator[Complaint]:
    """Flags that the parts, lines and ratios of the same file speak against."""
    yield from cpu_complaints(board)
    yield from memory_complaints(board)
    yield from ratio_complaints(board)
    if board.parts:
        yield from source_complaints(board)
        yield from video_complaints(board)
        yield from strobe_complaints(board)


def flag(key: str, text: str) -> Complaint:
    """A complaint about one flag."""
    return Complaint(("architecture", key), text)


def cpu_complaints(board: Board) -> Iterator[Complaint]:
    """Class and socket of the CPU are said in two places."""
    flags = board.architecture
    for key, row in board.part_rows.items():
        if row.kind != "cpu":
            continue
        if row.cpu_class is not None and row.cpu_class != flags.cpu_class:
            text = f"'{row.cpu_class}', but 'cpu class' under 'architecture' is '{flags.cpu_class}'"
            yield Complaint(("parts", key, "class"), text)
        if row.socket != flags.cpu_socketed:
            said, has = ("no", "is in a socket") if row.socket else ("yes", "is in no socket")
            yield flag("cpu socketed", f"'{said}', but {key} under 'parts' {has}")


def memory_complaints(board: Board) -> Iterator[Complaint]:
    """Dynamic memory is refreshed by somebody, static memory by nobody; three rails are three rails."""
    flags = board.architecture
    if flags.ram_type == "static" and flags.refresh_source != "none":
        yield flag("refresh source", "static memory is not refreshed; write 'none', or another 'ram type'")
    if flags.ram_type != "static" and flags.refresh_source == "none":
        yield flag("refresh source", "dynamic memory forgets within milliseconds; somebody must refresh it")
    volts = [rail.nominal.value for rail in board.rails.values()]
    volts += [rail.nominal.value for rail in board.made_rails.values()]
    if flags.ram_type == "dram 3 rail" and not (min(volts) < 0 and max(volts) > 9):
        yield flag("ram type", "three-rail memory wants -5 V, +5 V and +12 V; some of them are no rail of this file")


def ratio_complaints(board: Board) -> Iterator[Complaint]:
    """Counts that only one class of CPU makes say nothing of another."""
    flags = board.architecture
    for number, ratio in enumerate(board.ratios):
        for key, net in (("of", ratio.of), ("to", ratio.to)):
            wanted = TELLING.get(net)
            if wanted is not None and flags.cpu_class != wanted:
                text = (
                    f"counts of {net} are the fingerprint of a CPU of class {wanted}; "
                    f"'cpu class' under 'architecture' is '{flags.cpu_class}'"
                )
                yield Complaint(("ratios", number, key), text)


def source_complaints(board: Board) -> Iterator[Complaint]:
    """The parts that make the CPU clock and release the reset are of the kind the flags say."""
    flags = board.architecture
    cpu = next((part for part in board.parts.values() if part.kind == "cpu"), None)
    if cpu is not None and cpu.clock is not None:
        text = wrong_source(board, cpu.clock, CLOCK_SOURCES.get(flags.cpu_clock_source))
        if text is not None:
            yield flag("cpu clock source", f"'{flags.cpu_clock_source}', {text}")
    if board.reset is not None:
        text = wrong_source(board, board.reset.line, RESET_SOURCES.get(flags.reset_source))
        if text is not None:
            yield flag("reset source", f"'{flags.reset_source}', {text}")


def wrong_source(board: Board, net: str, kind: str | None) -> str | None:
    """What is wrong where no part of `kind` is among those that drive `net`; `None` where that fits or nobody knows."""
    makers = {name: board.parts[name].kind for name in board.wiring.drivers.get(net, ())}
    if kind is None or not makers or kind in makers.values():
        return None
    found = allowed_words(f"{name}, a {each}" for name, each in makers.items())
    return f"but {net} is driven by {found}"


def video_complaints(board: Board) -> Iterator[Complaint]:
    """A controller that a program sets up gives no sync before, any other video does."""
    controllers = [name for name, part in board.parts.items() if part.kind == "video controller"]
    timing = board.architecture.video_timing
    if timing == "programmable" and not controllers:
        yield flag("video timing", "'programmable', but no part is of kind 'video controller'")
    if timing == "fixed" and controllers:
        text = f"'fixed', but {controllers[0]} is a video controller: without its program there is no sync"
        yield flag("video timing", text)


def strobe_complaints(board: Board) -> Iterator[Complaint]:
    """What the fetch strobe is used for decides whether a board runs without it, so parts that hear it must fit."""
    used = board.architecture.fetch_strobe_used
    nets = CPU_NETS.get(board.architecture.cpu_class)
    if nets is None:
        return
    hearing = listeners(board.parts, nets.fetch)
    if hearing and "nothing" in used:
        yield flag("fetch strobe used", f"'nothing', but {hearing[0]} listens to {nets.fetch}")
    if not hearing and "nothing" not in used:
        text = f"no part listens to {nets.fetch}; write 'nothing', or put it under 'in' of the part that does"
        yield flag("fetch strobe used", text)


def listeners(parts: Mapping[str, Part], net: str) -> list[str]:
    """The parts that listen to `net`."""
    return [name for name, part in parts.items() if net in part.hears]
