"""A comparison of two runs as plain lines and as a document. Words and shape only; it compares nothing itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from autobench.events import RunStarted
from autobench.judgement.reading import Reading
from autobench.views.comparison import Comparison, Pair
from autobench.views.document import reading_document
from autobench.views.history_text import local
from autobench.views.run_state import RunState
from autobench.views.wording import limits_words, verdict_words


def comparison_lines(comparison: Comparison) -> list[str]:
    """Both runs, what was done between them, what failed, what moved, what differs, and the verdict on the repair."""
    lines = [f"before: {head(comparison.before)}", f"after:  {head(comparison.after)}"]
    lines += [f"done:   {repair}" for repair in comparison.repairs]
    if comparison.failed:
        lines.append("– failed before –")
        lines += [f"  {item.pair.name}: {beside(item.pair)} – {item.now}" for item in comparison.failed]
    alarming = [item for item in comparison.moved if item.why is None]
    calm = [item for item in comparison.moved if item.why is not None]
    if alarming:
        lines.append("– moved –")
        lines += [f"  {item.pair.name}: {beside(item.pair)}" for item in alarming]
    if calm:
        lines.append("– moved, no cause for concern –")
        for item in calm:
            lines += [f"  {item.pair.name}: {beside(item.pair)}", f"      {item.why}"]
    if comparison.better:
        lines.append("– could not be called before, as it should be now –")
        lines += [f"  {pair.name}: {beside(pair)}" for pair in comparison.better]
    lines += difference_lines(comparison)
    return [*lines, comparison.words]


def difference_lines(comparison: Comparison) -> list[str]:
    """Options and limits that are not the same in both runs."""
    lines = ["– differs –"] if comparison.options or comparison.limits else []
    lines += [f"  option {name}: {before}, now {after}" for name, before, after in comparison.options]
    for pair in comparison.limits:
        before, after = (limits_words(reading) or "none" for reading in (pair.before, pair.after) if reading)
        lines.append(f"  limits of {pair.name}: {before}, now {after}")
    return lines


def head(state: RunState) -> str:
    """One run in one line."""
    started, ended = state.started, state.ended
    if started is None:
        return "–"
    serial = f" {started.serial}" if started.serial else ""
    verdict = ended.verdict if ended is not None else "not ended"
    return f"{started.run}, {local(started.started)}, {started.board}{serial}, {verdict}"


def beside(pair: Pair) -> str:
    """A reading before and after."""
    return f"{in_words(pair.before)} → {in_words(pair.after)}"


def in_words(reading: Reading | None) -> str:
    """Value and verdict of a reading, or that there is none."""
    if reading is None:
        return "not read"
    if reading.value is None and reading.state is None:
        return verdict_words(reading)
    return f"{reading.in_words()}, {verdict_words(reading)}"


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """The comparison as JSON-ready values."""
    return {
        "verdict": str(comparison.verdict),
        "words": comparison.words,
        "before": head_document(comparison.before),
        "after": head_document(comparison.after),
        "repairs": list(comparison.repairs),
        "failed": [pair_document(item.pair) | {"now": str(item.now)} for item in comparison.failed],
        "moved": [
            pair_document(item.pair) | {"no_concern": None if item.why is None else str(item.why)}
            for item in comparison.moved
        ],
        "better": [pair_document(pair) for pair in comparison.better],
        "options": [{"option": name, "before": old, "after": new} for name, old, new in comparison.options],
        "limits": [pair_document(pair) for pair in comparison.limits],
    }


def head_document(state: RunState) -> dict[str, Any]:
    """Which run it is and how it ended."""
    started: RunStarted | None = state.started
    return {
        "run": started.run if started else None,
        "started": started.started if started else None,
        "board": started.board if started else None,
        "serial": started.serial if started else None,
        "verdict": state.ended.verdict if state.ended else None,
    }


def pair_document(pair: Pair) -> dict[str, Any]:
    """One reading in both runs."""
    sides: Sequence[tuple[str, Reading | None]] = (("before", pair.before), ("after", pair.after))
    return {name: None if reading is None else reading_document(reading) for name, reading in sides}
