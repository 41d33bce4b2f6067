"""Why a fault escaped a sequence, and which step would have caught it: the simulator's truth held against the plan.

Words only; it changes no verdict and takes no reading.
"""

from __future__ import annotations

from collections.abc import Iterator

from autobench.app import CheckRequest, Prepared, changed_by_faults
from autobench.run.foresight import net_and_point, quantity_of

MOST_NETS = 4
NOTHING = "nothing a bare board shows: neither current, volts nor any net differs from those of its healthy twin"


def would_show(request: CheckRequest, prepared: Prepared) -> tuple[str, ...]:
    """What differs from the healthy twin, each with the step that reads it or the one that would."""
    changed = changed_by_faults(request.simulation, prepared.documents, prepared.plan)
    lines = [words for net, was, now in changed for words in told(prepared, net, was, now)]
    if not lines:
        return (NOTHING,)
    rest = len(lines) - MOST_NETS
    return (*lines[:MOST_NETS], *([f"and {rest} more"] if rest > 0 else ()))


def told(prepared: Prepared, net: str, was: str, now: str) -> Iterator[str]:
    """One net that differs."""
    board = prepared.documents.board
    name = net.partition(".")[0] if net not in board.nets() else net
    reading = [step for step in prepared.plan.steps if net_and_point(step)[0] == name]
    unit = was.rpartition(" ")[2]
    steps = [step.name for step in reading if quantity_of(step)[1] == unit] or [step.name for step in reading]
    found = f"{net}: {now} instead of {was}"
    points = board.nets().get(name, ())
    if steps:
        yield f"{found}; '{steps[0]}' reads it, and its limits or its void readings let it through"
    elif name in board.lines:
        line = board.lines[name]
        yield f"{found}; a step for lines of stage '{line.stage}' would read it at {line.points[0]}"
    elif points:
        yield f"{found}; no step reads it: a line at {points[0]} would"
    else:
        yield f"{found}; the board file has no point on it"
