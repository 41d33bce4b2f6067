"""The report of a run as one HTML file: page one for the owner, everything else for the technician.

A pure function of the run's state and the documents it is given. It judges nothing; everything from outside is
escaped, nothing is fetched, and no script is in it. The heavy libraries are imported only when a report is made.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from autobench.diagnosis.result import Suspect
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.errors import UsageError
from autobench.events import RunStarted
from autobench.signals.trace import Trace
from autobench.views.report_owner import owner_page, verdict_of
from autobench.views.report_readings import COVERAGE, UNBROKEN, stage_rows
from autobench.views.report_words import (
    CAUTIONS,
    LIMITS_OF_THE_REPORT,
    day_in_words,
    fault_in_words,
    moment_in_words,
    part_in_words,
    short_name,
)
from autobench.views.run_state import RunState
from autobench.views.wording import chance_words, harmless, reasons_for

MOST_SHOWN = 3  # suspects marked in the dependency graph
WORTH_SHOWING = 0.01  # ... with at least this probability; suspects below it are listed without their evidence

Traces = Mapping[tuple[str, str, str], Trace]


@dataclass(frozen=True)
class InstrumentRow:
    """One instrument in words."""

    name: str
    kind: str
    identity: str
    serial: str
    calibrated: str


@dataclass(frozen=True)
class SuspectRow:
    """One suspect in words."""

    place: str
    what: str
    fault: str
    chance: str
    for_: tuple[str, ...]
    against: tuple[str, ...]
    in_full: bool


def write_report(
    state: RunState,
    board: Board | None,
    path: Path,
    *,
    traces: Traces | None = None,
    earlier: RunState | None = None,
    repairs: Sequence[str] = (),
    bench: Bench | None = None,
    identities: Mapping[str, str] | None = None,
) -> None:
    """Write the report to `path`; a report that stood there is replaced only by a whole one.

    Arguments as for `report_html`. Raises `UsageError` where the file cannot be written, `ValueError` for a run that
    has not started.
    """
    html = report_html(
        state, board, traces=traces, earlier=earlier, repairs=repairs, bench=bench, identities=identities
    )
    beside = beside_of(path)
    try:
        beside.write_text(html, encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise UsageError(f"the report {path} cannot be written: {error.strerror or 'the disk refuses'}") from error


def check_writable(path: Path) -> None:
    """Raises `UsageError` where no report can be written to `path`; leaves no trace. For before a round begins."""
    if path.is_dir():
        raise UsageError(f"the report {path} cannot be written: that is a folder")
    beside = beside_of(path)
    try:
        beside.touch()
        beside.unlink()
    except OSError as error:
        raise UsageError(f"the report {path} cannot be written: {error.strerror or 'the disk refuses'}") from error


def beside_of(path: Path) -> Path:
    """The file that becomes the report once it is whole."""
    return path.with_name(f".{path.name}.{os.getpid()}")


def report_html(
    state: RunState,
    board: Board | None,
    *,
    traces: Traces | None = None,
    earlier: RunState | None = None,
    repairs: Sequence[str] = (),
    bench: Bench | None = None,
    identities: Mapping[str, str] | None = None,
) -> str:
    """The report as one HTML text.

    `board` adds words for parts and options and the dependency graph; `traces` are pictured by (step, net, point);
    `earlier` is the run before the repair, set beside this one on page one; `repairs` say what was done; `bench` adds
    calibration dates and `identities` what each instrument said it is. Raises `ValueError` for a run that has not
    started.
    """
    if state.started is None:
        raise ValueError("a run has a report once it has started")
    page: dict[str, Any] = {
        "started": state.started,
        "simulated": state.started.simulated,
        "owner": owner_page(state, board, earlier, repairs),
        "verdict": verdict_of(state),
        "reason": state.ended.reason if state.ended is not None else None,
        "limits_of_the_report": LIMITS_OF_THE_REPORT,
        "cautions": CAUTIONS,
        "coverage": f"{COVERAGE:g}",
        "stages": stage_rows(state.readings, board),
        "suspects": suspect_rows(state, board),
        "diagnosis": state.diagnosis,
        "checks": state.checks,
        "investigated": state.investigated,
        "plots": trace_plots(state, board, traces or {}),
        "graph": dependency_picture(state, board),
        "instruments": instrument_rows(state.started, bench, identities or {}),
        "files": [(short_name(name), digest) for name, digest in state.started.files.items()],
        "notices": state.notices,
        "moment": moment_in_words(state.started.started),
        "run_in_margin": re.sub(r"[^A-Za-z0-9 .-]", "", state.started.run),  # goes into a style sheet
    }
    return str(template().render(page))


def template() -> Any:
    """The template of the page: everything is escaped, and a name that is not there is our mistake, never a gap."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("autobench.views", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.j2")


def shown(value: Any) -> Any:
    """What an expression of the template comes to: no control character or direction mark gets onto the page.

    Spaces that no line may break at are ours and stay; our own markup is left alone.
    """
    return UNBROKEN.join(harmless(value.split(UNBROKEN))) if type(value) is str else value


def suspect_rows(state: RunState, board: Board | None) -> list[SuspectRow]:
    """The suspects in words, the likeliest first."""
    return [
        SuspectRow(
            place=suspect.place,
            what=what_it_is(suspect, board),
            fault=fault_in_words(suspect.fault),
            chance=chance_words(suspect.probability),
            for_=reasons_for(suspect),
            against=suspect.against,
            in_full=number == 0 or suspect.probability >= WORTH_SHOWING,
        )
        for number, suspect in enumerate(state.diagnosis.suspects)
    ]


def what_it_is(suspect: Suspect, board: Board | None) -> str:
    """A part by its kind, a net, or a cause that nobody has a name for."""
    if suspect.part:
        return part_in_words(suspect.part, board)
    return "a connection on the board" if suspect.net else "a cause that is not among the known ones"


def instrument_rows(started: RunStarted, bench: Bench | None, identities: Mapping[str, str]) -> list[InstrumentRow]:
    """The instruments of the run with who they said they are and when they were calibrated."""
    rows = []
    for name, kind in started.instruments.items():
        known = bench.instruments.get(name) if bench is not None else None
        if known is None:
            calibrated = "not known here" if bench is None else "not in this bench file"
        else:
            calibrated = day_in_words(known.calibrated) if known.calibrated is not None else "no date given"
        serial = known.serial if known is not None and known.serial else ""
        rows.append(InstrumentRow(name, kind, identities.get(name, ""), serial, calibrated))
    return rows


@dataclass(frozen=True)
class PlotRow:
    """A picture with the steps it belongs to."""

    place: str
    steps: str
    svg: Any  # markup of our own plots
    seen: str


def trace_plots(state: RunState, board: Board | None, traces: Traces) -> list[PlotRow]:
    """Each capture of a net drawn once, however many steps looked at it."""
    from markupsafe import Markup

    from autobench.views.plots import columns_for, trace_plot
    from autobench.views.report_limits import marks_of

    steps: dict[tuple[str, str, str], list[str]] = {}
    drawn: dict[tuple[str, str, str], Trace] = {}
    for (step, net, point), trace in traces.items():
        key = (net, point, fingerprint(trace))
        steps.setdefault(key, []).append(step)
        drawn.setdefault(key, trace)
    columns = columns_for(len(drawn))
    rows = []
    for key, trace in drawn.items():
        (net, point, _), named = key, "; ".join(steps[key])
        place = f"{net} at {point}" if point else net
        marks = marks_of(net, point, steps[key], state.readings, board)
        plot = trace_plot(trace, f"{place}, taken for {named}", marks, columns)
        rows.append(PlotRow(place, named, Markup(plot.svg), plot.seen))  # noqa: S704 - words are escaped where drawn
    return rows


def fingerprint(trace: Trace) -> str:
    """The same for equal captures."""
    digest = hashlib.sha256(trace.samples.tobytes())
    digest.update(repr((trace.interval, trace.start, trace.step, trace.reference, trace.offset)).encode())
    return digest.hexdigest()


def dependency_picture(state: RunState, board: Board | None) -> Any:
    """The board's dependency graph placed, or None where nothing is known of its parts."""
    if board is None or not board.parts:
        return None
    from autobench.views.graph import board_graph
    from autobench.views.report_graph import picture

    shown = [suspect for suspect in state.diagnosis.suspects if suspect.probability >= WORTH_SHOWING][:MOST_SHOWN]
    suspects = [suspect.part or suspect.net or "" for suspect in shown]
    return picture(board_graph(board, state.readings, suspects))
