"""Whether a bench can feed, touch and see what a board file asks for. Pure; complaints point into the bench file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.driver import Driver
from autobench.documents.section import Complaint
from autobench.documents.words import choice_text, quoted
from autobench.plan.sights import A_PERIOD, Sights
from autobench.quantity import show


def board_complaints(bench: Bench, drivers: Mapping[str, Driver], board: Board) -> Iterator[Complaint]:
    """What a bench with a plate for `board` lacks of it; nothing where it has no such plate."""
    if board.board not in bench.fixtures:
        return
    yield from plate_complaints(bench, board)
    yield from feeding_complaints(bench, board)
    yield from load_complaints(bench, board)
    yield from sampling_complaints(bench, drivers, board)


def plate_complaints(bench: Bench, board: Board) -> Iterator[Complaint]:
    """The plate touches points that there are, and all that are measured unless a hand helps."""
    known = {point: net for net, points in board.nets().items() for point in points}
    plate = bench.fixtures[board.board]
    for point in plate:
        if point not in known:
            text = f"{board.board} tells of no such point; {choice_text(point, known)}"
            yield Complaint(("fixtures", board.board, point), text, at_key=True)
    if bench.hand_probe is not None:
        return
    missing = [point for point in board.points() if point not in plate]
    for point in missing:
        text = f"nothing touches {point} ({known[point]}), where {board.board} is measured"
        yield Complaint(("fixtures", board.board), text, at_key=True)


def feeding_complaints(bench: Bench, board: Board) -> Iterator[Complaint]:
    """Every rail has an output that may give its volts."""
    for name, rail in board.rails.items():
        feed = bench.feeds.get(name)
        if feed is None:
            yield Complaint(("feeds",), f"nothing feeds {name} of {board.board}", at_key=True)
        elif feed.negative != rail.negative:
            text = f"{name} of {board.board} is {show(rail.nominal.value, 'V')}; {feed.volts} has the other sign"
            yield Complaint(("feeds", name, "volts"), text)
        elif feed.most_volts < abs(rail.nominal.value):
            text = f"{feed.volts} is too little for {name} of {board.board}, {show(rail.nominal.value, 'V')}"
            yield Complaint(("feeds", name, "volts"), text)


def load_complaints(bench: Bench, board: Board) -> Iterator[Complaint]:
    """The video output is measured into the load its amplitudes are for."""
    output = board.video.output if board.video is not None else None
    if output is None or bench.position(board.board, output.point) is None:
        return
    load = bench.load(board.board, output.point)
    wanted = output.terminated
    if load is None:
        text = f"nothing loads {output.point} ({output.net}), which is judged into {wanted}; say so under 'terminated'"
        yield Complaint(("fixtures", board.board), text, at_key=True)
    elif abs(load - wanted.value) > 0.05 * wanted.value:
        text = f"{show(load, 'ohm')}, but {board.board} is judged into {wanted}"
        yield Complaint(("terminated", board.board, output.point), text)


def sampling_complaints(bench: Bench, drivers: Mapping[str, Driver], board: Board) -> Iterator[Complaint]:
    """The scope takes at least ten samples a period of every clock, with as many channels on as are looked at together.

    With fewer a clock may be an alias of another, so its reading would always be void (common practice: ten).
    """
    found = ((name, driver.samples) for name, driver in drivers.items() if driver.samples is not None)
    scope, samples = next(found, (None, None))
    if scope is None or samples is None:
        return
    sights = Sights(bench, board, scope, samples.channels, samples.divisions.horizontal).clocks()
    for clock, sight in sights.items():
        if not sight.points:
            continue
        rate, needed = samples.fastest(len(sight.points)), A_PERIOD * board.nominal(clock)
        if rate < needed * (1 - 1e-9):
            together = f"with {len(sight.points)} channels on " if len(sight.points) > 1 else ""
            text = (
                f"cannot sample {clock} of {board.board}: {show(board.nominal(clock), 'Hz')} wants "
                f"{show(needed, 'Sa/s')}, and {together}{quoted(scope)} takes {show(rate, 'Sa/s')}"
            )
            yield Complaint(("instruments", scope), text, at_key=True)
