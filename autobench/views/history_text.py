"""The record in plain lines: a list of runs, jobs, one run in full. Words only; whoever prints them asks `harmless`."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from autobench.record.history import Repair, RunRow
from autobench.record.jobs import Job
from autobench.views.recorded import Recorded
from autobench.views.wording import diagnosis_lines, reading_lines, started_words

LONGEST_CELL = 24
FURTHER = 4  # signs that what goes on below is indented more than the line's beginning
SIMULATED = "SIMULATED"


def history_lines(
    runs: Sequence[RunRow], repairs: Iterable[Repair], total: int, jobs: Sequence[Job] = (), width: int = 100
) -> list[str]:
    """Runs, newest first, one line each with its reason and repairs below; then what `jobs` they make up."""
    if not runs:
        return ["no runs"]
    noted: dict[str, list[Repair]] = {}
    for repair in repairs:
        noted.setdefault(repair.run, []).append(repair)
    boards = max(len(shortened(run.board, LONGEST_CELL)) for run in runs)
    serials = max(len(shortened(run.serial or "–", LONGEST_CELL)) for run in runs)
    rows = []
    for run in runs:
        board = shortened(run.board, LONGEST_CELL).ljust(boards)
        serial = shortened(run.serial or "–", LONGEST_CELL).ljust(serials)
        mark = f"  {SIMULATED}" if run.simulated else ""
        rows.append((local(run.started), f"{board}  {serial}  {run.verdict}{mark}"))
    # A run's name says the time as well, so a narrow terminal gets the day alone.
    day_only = any(len(f"{run.run}  {when}  {rest}") > width for run, (when, rest) in zip(runs, rows, strict=True))
    lines = []
    for run, (when, rest) in zip(runs, rows, strict=True):
        lines.append(f"{run.run}  {when.partition(' ')[0] if day_only else when}  {rest}")
        if run.reason:
            lines.append(shortened(f"    {run.reason}", width))
        lines += [shortened(f"    {repair_words(repair)}", width) for repair in noted.get(run.run, [])]
    if total > len(runs):
        lines.append(f"… and {total - len(runs)} earlier ones; --limit N shows more")
    return [*lines, *job_lines(jobs)]


def job_lines(jobs: Sequence[Job]) -> list[str]:
    """One line a job."""
    lines = ["– jobs –"] if jobs else []
    for job in jobs:
        first, last = local(job.runs[0].started), local(job.runs[-1].started)
        when = first if first == last else f"{first} to {last}"
        end = "closed: good after the repair" if job.closed else f"open, last {job.runs[-1].verdict}"
        counts = f"{counted(len(job.runs), 'run')}, {counted(len(job.repairs), 'repair')}"
        mark = f"  {SIMULATED}" if job.simulated else ""
        lines.append(f"  {job.board} {job.serial}, job {job.number}: {when}, {counts}, {end}{mark}")
    return lines


def show_lines(run: Recorded) -> list[str]:
    """One run in full: head, instruments, every reading by stage, notices, diagnosis, verdict, repairs."""
    state, row = run.state, run.row
    if state.started is None or state.ended is None:
        return []
    lines = [f"{row.run}, {local(row.started)}", started_words(state.started)]
    if state.started.guard:
        lines.append(state.started.guard)
    if row.operator:
        lines.append(f"operator: {row.operator}")
    lines += instrument_lines(state.started.instruments, run.identities)
    stage, said = "", None
    for reading in state.readings:
        if reading.stage != stage:
            stage = reading.stage
            lines.append(f"– {stage} –")
        lines += reading_lines(reading, said)
        said = reading.reason
    if state.notices:
        lines.append("– notices –")
        lines += [f"  {'ALARM: ' if notice.urgent else ''}{notice.words}" for notice in state.notices]
    lines += diagnosis_lines(state.diagnosis)
    lines.append(f"{state.ended.verdict.upper()}{f': {state.ended.reason}' if state.ended.reason else ''}")
    return [*lines, *(repair_words(repair) for repair in run.repairs)]


def instrument_lines(drivers: Mapping[str, str], identities: Iterable[tuple[str, str]]) -> list[str]:
    """Each instrument with its driver, and who it said it is."""
    said = dict(identities)
    lines = ["– instruments –"] if drivers else []
    for name, driver in drivers.items():
        lines.append(f"  {name}: {said[name]} ({driver})" if name in said else f"  {name}: {driver}, not identified")
    return lines


def repair_words(repair: Repair) -> str:
    """What was done, when and by whom."""
    by = f" by {repair.operator}" if repair.operator else ""
    return f"repair, {local(repair.noted)}{by}: {repair.words}"


def local(moment: str) -> str:
    """A date of the record in this place's time, to the minute; as it stands where it is no date."""
    try:
        return f"{datetime.fromisoformat(moment).astimezone():%Y-%m-%d %H:%M}"
    except (ValueError, OverflowError):
        return moment


def counted(count: int, noun: str) -> str:
    """`1 run`, `2 runs`."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def folded(line: str, room: int | None) -> list[str]:
    """`line` in pieces of at most `room` signs, broken at spaces where there are any; whole where `room` is None."""
    if room is None or len(line) <= room:
        return [line]
    indent = " " * (len(line) - len(line.lstrip()) + FURTHER)
    return textwrap.wrap(line, room, subsequent_indent=indent, break_on_hyphens=False) or [line]


def shortened(text: str, longest: int) -> str:
    """`text`, cut with an ellipsis where it is too long."""
    return text if len(text) <= longest else f"{text[: max(longest - 1, 1)]}…"
