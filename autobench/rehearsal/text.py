"""A rehearsal in words, for whoever writes sequences: what is found, what escapes, what is accused wrongly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from autobench.rehearsal.outcome import Outcome
from autobench.rehearsal.result import BenchRow, FaultRow, Rehearsal

MOST_REASONS = 2


def rehearsal_lines(done: Rehearsal) -> Iterator[str]:
    """The whole outcome, line by line."""
    yield f"SIMULATED  {done.board}: {done.sequence}, rehearsed in {len(done.outcomes)} rounds"
    if done.remark is not None:
        yield f"SIMULATED  {done.remark}"
    yield from good_lines(done)
    yield from fault_lines(done)
    yield from escape_lines(done)
    yield from bench_lines(done)
    yield from pair_lines(done)
    yield from undetectable_lines(done)
    yield from minute_lines(done)


def good_lines(done: Rehearsal) -> Iterator[str]:
    """False alarms on good boards."""
    runs, faulty, undecided = done.good_counts
    if runs:
        yield ""
        yield f"GOOD BOARDS  {runs} rounds: {share(faulty, runs)} called faulty, {share(undecided, runs)} undecided"
        for outcome in [one for one in done.of("good") if one.verdict != "good"]:
            yield f"  {outcome.verdict}: {outcome.case.written}{because(outcome)}"


def fault_lines(done: Rehearsal) -> Iterator[str]:
    """Every fault and part with how it was found."""
    rows = done.faults
    if not rows:
        return
    yield ""
    yield "BOARD FAULTS  rounds, found faulty, true part first / in the first three / in the stated group"
    width = max(len(f"{row.fault}@{row.part}") for row in rows)
    for row in rows:
        extra = f", {row.extra_checks / row.runs:.1f} extra checks a round" if row.extra_checks else ""
        yield f"  {f'{row.fault}@{row.part}':<{width}}  {row.runs:>3} {row.detected:>3}   {named(row)}{extra}"
    showing = done.showing
    found = [outcome for outcome in showing if outcome.detected]
    yield f"  of {len(showing)} rounds in which something shows, {share(len(found), len(showing))} found faulty"
    detected = sum(row.detected for row in rows)
    for words, count in (
        ("true part first", sum(row.first for row in rows)),
        ("true part in the first three", sum(row.first_three for row in rows)),
        ("not first, but in the stated group", sum(row.grouped for row in rows)),
    ):
        yield f"  of {detected} found, {share(count, detected)}: {words}"


def named(row: FaultRow) -> str:
    """First, first three, group of one row."""
    return f"{row.first:>3} /{row.first_three:>3} /{row.grouped:>3}"


def escape_lines(done: Rehearsal) -> Iterator[str]:
    """Faults that were not found although something shows, with the step that would."""
    escaped = done.escaped
    if escaped:
        yield ""
        yield "ESCAPED  not called faulty, and what would show it"
    for outcome in escaped:
        yield f"  {outcome.case.written}: {outcome.verdict}{because(outcome)}"
        for words in outcome.would_show:
            yield f"      {words}"


def bench_lines(done: Rehearsal) -> Iterator[str]:
    """Every bench fault with what became of it."""
    rows = done.bench
    if not rows:
        return
    yield ""
    yield "BENCH FAULTS  rounds, called faulty (wrongly), with void readings, undecided, stopped, good"
    width = max(len(row.fault) for row in rows)
    for row in rows:
        counts = f"{row.runs:>3} {row.faulty:>3} {row.void:>3} {row.undecided:>3} {row.stopped:>3} {row.good:>3}"
        yield f"  {row.fault:<{width}}  {counts}"
        yield from reason_lines(done, row)


def reason_lines(done: Rehearsal, row: BenchRow) -> Iterator[str]:
    """What the rounds with a bench fault said."""
    mine = [one for one in done.of("bench") if one.case.places[0].fault == row.fault]
    for outcome in [one for one in mine if one.verdict == "faulty"]:
        yield f"      faulty: {outcome.case.written}{because(outcome)}"
    reasons = [reason for one in mine for reason in (one.reason, *one.void) if reason]
    for reason in list(dict.fromkeys(reasons))[:MOST_REASONS]:
        yield f"      “{reason}”"


def pair_lines(done: Rehearsal) -> Iterator[str]:
    """Two faults at once."""
    runs, detected, first = done.pair_counts()
    if runs:
        yield ""
        shares = f"{share(detected, runs)} found faulty, {share(first, runs)} with one of the two first"
        yield f"TWO FAULTS AT ONCE  {runs} rounds: {shares}"


def undetectable_lines(done: Rehearsal) -> Iterator[str]:
    """What cannot be seen, and why."""
    rows = done.undetectable
    if rows:
        yield ""
        yield "NOTHING SHOWS  on a bare board, by electrical checks"
        for row in rows:
            where = f"@{row.part}" if row.part is not None else ""
            yield f"  {row.fault}{where}: {row.why}"


def minute_lines(done: Rehearsal) -> Iterator[str]:
    """How long a whole round takes, and how long these did."""
    yield ""
    times = ", ".join(f"{minutes:.1f} min {way}" for way, minutes in done.minutes.items())
    yield f"TIME  a whole round: {times}"
    faulty = [outcome.seconds for outcome in done.of("board") if outcome.detected]
    if faulty:
        yield f"      until a faulty board was known as such, on the fixture: {mean(faulty) / 60.0:.1f} min on average"


def because(outcome: Outcome) -> str:
    """What an outcome gave as its reason, after a dash."""
    words = outcome.reason or "; ".join(outcome.outside[:MOST_REASONS])
    return f" – {words}" if words else ""


def mean(numbers: Sequence[float]) -> float:
    """Arithmetic mean."""
    return sum(numbers) / len(numbers)


def share(count: int, of: int) -> str:
    """A count with its percentage."""
    return f"{count} ({100.0 * count / of:.0f} %)" if of else "0"
