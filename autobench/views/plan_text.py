"""A plan in lines of 80 columns, and as one document for programs. Pure; what would be done, and what cannot be."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from autobench.plan.overlap import Together
from autobench.plan.steps import Feed, Plan
from autobench.quantity import show
from autobench.views.plan_sheet import Held, Row

WIDTH = 80
STEP, TIME = 30, 8
OVERLAPPING = "unless somebody holds a tip or instruments share a bus"


def plan_lines(plan: Plan, rows: Sequence[Row], lacks: Sequence[str], together: Sequence[Together]) -> Iterator[str]:
    """The whole plan for a person; `lacks` are what instruments are missing, `together` what is free to overlap."""
    options = "".join(f" with {name} {choice}" for name, choice in plan.options.items())
    yield from wrapped(f"{plan.board}{options}: {plan.sequence} on {plan.bench}", 0)
    yield f"about {minutes(plan.seconds)}; this is only the plan: nothing is opened or switched on"
    yield ""
    for feed in plan.feeds:
        yield from wrapped(feed_words(feed), 0, 6)
    for words in lacks:
        yield from wrapped(words, 0, 6)
    stage = ""
    for row in rows:
        if row.stage != stage:
            stage = row.stage
            yield ""
            yield stage
        yield from row_lines(row)
    yield ""
    for each in together:
        lanes = ", ".join(f"{lane.instrument} {show(lane.seconds, 's', 3)}" for lane in each.lanes)
        faster = f"{show(each.busiest, 's', 3)} instead of {show(each.serial, 's', 3)}"
        yield from wrapped(f"free to overlap: {lanes} ({faster}), {OVERLAPPING}", 0, 2)
    cannot = [row for row in rows if row.cannot is not None]
    yield f"{len(rows)} steps, {len(cannot)} of them cannot be done here" if cannot else f"{len(rows)} steps"
    for row in cannot:
        left = "the board stays undecided" if row.required else "decides nothing"
        yield from wrapped(f"  {row.step}: {row.cannot} ({left})", 0, 6)


def row_lines(row: Row) -> Iterator[str]:
    """One step: a line that names it, then how it is taken and what it is held to."""
    seconds = show(row.seconds, "s", 2) if row.seconds else ""
    room = WIDTH - 4 - STEP - TIME
    if len(row.step) <= STEP and len(row.where) <= room:
        yield f"  {row.step:<{STEP}} {row.where:<{room}} {seconds:>{TIME}}".rstrip()
    else:
        yield from wrapped(f"{row.step}  {row.where}  {seconds}".rstrip(), 2, 6)
    if row.cannot is not None:
        yield from wrapped(f"CANNOT: {row.cannot}", 6)
        return
    how = "; ".join(part for part in (row.instrument, row.range, row.route) if part)
    if how:
        yield from wrapped(how, 6)
    for held in row.held:
        yield from wrapped(held_words(held), 6)
    if row.terms:
        yield from wrapped(row.terms, 6)


def held_words(held: Held) -> str:
    """`4.60 V .. 5.20 V (board file), usually …, data sheet …`."""
    words = f"{held.what} {held.span} ({held.source})".strip()
    words += f", usually {held.usual}" if held.usual is not None else ""
    return words + (f", data sheet {held.data_sheet}" if held.data_sheet is not None else "")


def feed_words(feed: Feed) -> str:
    """One rail with what it is fed by and the most it may ever get."""
    source = "a supply worked by hand" if feed.by_hand else f"{feed.supply} output {feed.output}"
    steps = f" in steps: {', '.join(show(amps, 'A', 3) for amps in feed.ladder)}" if feed.ladder else ""
    limit = f"limit {show(feed.amps, 'A')}" if not steps else f"limit{steps}"
    most = f"never above {show(feed.envelope.volts, 'V')} and {show(feed.envelope.amps, 'A')}"
    return f"{feed.rail}: {source}, {show(feed.volts, 'V')}, {limit}, trip {show(feed.trip, 'V')}; {most}"


def minutes(seconds: float) -> str:
    """`40 s`, `3.5 min`."""
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.1f} min"


def wrapped(text: str, indent: int, hanging: int | None = None) -> list[str]:
    """Lines of at most 80 columns."""
    later = indent if hanging is None else hanging
    return textwrap.wrap(
        text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * later, break_on_hyphens=False
    )


def plan_document(
    plan: Plan, rows: Sequence[Row], lacks: Sequence[str], together: Sequence[Together]
) -> dict[str, Any]:
    """The whole plan for a program: volts, amps and seconds as numbers, limits as people write them."""
    return {
        "board": plan.board,
        "options": plan.options,
        "sequence": plan.sequence,
        "bench": plan.bench,
        "seconds": plan.seconds,
        "feeds": [
            {
                "rail": feed.rail,
                "supply": feed.supply,
                "output": None if feed.by_hand else feed.output,
                "volts": feed.volts,
                "amps": feed.amps,
                "trip": feed.trip,
                "steps": list(feed.ladder),
                "most": {"volts": feed.envelope.volts, "amps": feed.envelope.amps},
            }
            for feed in plan.feeds
        ],
        "lacking": list(lacks),
        "steps": [row_document(row) for row in rows],
        "overlap": [
            {
                "seconds": each.busiest,
                "serial": each.serial,
                "lanes": [{"instrument": lane.instrument, "steps": list(lane.steps)} for lane in each.lanes],
            }
            for each in together
        ],
    }


def row_document(row: Row) -> dict[str, Any]:
    """One step."""
    held = [
        {"of": each.what or None, "limits": each.span, "from": each.source, "usual": each.usual,
         "data_sheet": each.data_sheet}
        for each in row.held
    ]  # fmt: skip
    return {
        "step": row.step,
        "stage": row.stage,
        "words": row.words,
        "where": row.where or None,
        "instrument": row.instrument or None,
        "range": row.range or None,
        "route": row.route or None,
        "limits": held,
        "seconds": row.seconds,
        "terms": row.terms or None,
        "cannot": row.cannot,
    }
