"""Readings as the report lists them: value with expanded uncertainty, limits, reasons and budgets, stage by stage.

Values in, texts out; nothing is judged again here. Where a budget and the stated uncertainty differ, the difference is
shown as a line of its own, so that every budget adds up to what is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from autobench.documents.board import Board
from autobench.judgement.reading import Reading
from autobench.quantity import show
from autobench.views.report_words import STAGES
from autobench.views.wording import limits_words, reading_name

COVERAGE = 2.0  # k, of every expanded uncertainty in a report
UNPREFIXED = ("", "%", "ppm", "°C")
PREFIXES = {-4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M", 3: "G"}
MOST_PLACES = 9
UNBROKEN = "\u00a0"
LONGEST_UNBROKEN = 24
NO_LIMIT = "none"  # what a reading says that has nothing to be held to
SAME_REASON = "the same reason as above"
LEAST_WRITTEN_OUT = 1e-3
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
NEGLIGIBLE = 1e-3  # share of the combined uncertainty below which a difference is rounding
FROM_SAMPLES = "the samples themselves (spread and resolution)"
CANCELLED = "taken off: parts that cancel"


@dataclass(frozen=True)
class BudgetLine:
    """One part of an uncertainty: its standard uncertainty in words, its share of the variance in per cent."""

    name: str
    standard: str
    share: str


@dataclass(frozen=True)
class Row:
    """One reading as a line of a table. All texts; `verdict` is one of the six words."""

    what: str
    place: str
    value: str
    limits: tuple[str, ...]
    limit_from: str
    verdict: str
    conditional: bool
    informative: bool
    reason: str | None
    standard: str
    expanded: str
    budget: tuple[BudgetLine, ...]


@dataclass(frozen=True)
class StageRows:
    """The readings of one stage in the order they were taken."""

    stage: str
    title: str
    rows: tuple[Row, ...]

    @property
    def budgets(self) -> tuple[tuple[tuple[str, ...], Row], ...]:
        """Those that have an uncertainty, with the names of all whose budgets read the same."""
        alike: dict[tuple[object, ...], list[Row]] = {}
        for row in self.rows:
            if row.budget:
                alike.setdefault((row.budget, row.standard, row.expanded), []).append(row)
        return tuple((tuple(row.what for row in rows), rows[0]) for rows in alike.values())


def stage_rows(readings: Iterable[Reading], board: Board | None) -> tuple[StageRows, ...]:
    """All readings grouped by stage, stages in the order of their first reading."""
    stages: dict[str, list[Row]] = {}
    said: tuple[str, str | None] | None = None
    for reading in readings:
        row = reading_row(reading, board)
        if row.reason and said == (reading.stage, reading.reason):
            row = replace(row, reason=SAME_REASON)
        said = reading.stage, reading.reason
        stages.setdefault(reading.stage, []).append(row)
    return tuple(StageRows(stage, STAGES.get(stage, stage), tuple(rows)) for stage, rows in stages.items())


def reading_row(reading: Reading, board: Board | None) -> Row:
    """One reading in words."""
    known = reading.value is not None and reading.uncertainty is not None
    standard = reading.uncertainty if known and reading.uncertainty is not None else 0.0
    return Row(
        what=reading_name(reading),
        place=place_in_words(reading),
        value=value_in_words(reading),
        limits=limits_in_words(reading, board),
        limit_from="" if reading.limit_from in (None, NO_LIMIT) else str(reading.limit_from),
        verdict=str(reading.verdict),
        conditional=reading.conditional,
        informative=not reading.required,
        reason=reading.reason,
        standard=small_number(standard, reading.unit),
        expanded=small_number(COVERAGE * standard, reading.unit),
        budget=budget_lines(reading) if known else (),
    )


def place_in_words(reading: Reading) -> str:
    """`CPUCLK at U1.6`, as far as it is known."""
    return " at ".join(word for word in (reading.net, reading.point) if word) or "–"


def value_in_words(reading: Reading) -> str:
    """The state of a line, the value with its expanded uncertainty, or a dash."""
    if reading.value is None:
        return reading.state or "–"
    stated = in_one_line(value_with_uncertainty(reading.value, reading.uncertainty, reading.unit))
    return f"{reading.state}, {stated}" if reading.state else stated


def value_with_uncertainty(value: float, standard: float | None, unit: str) -> str:
    """`(4.99945 ± 0.00026) V`: U with two figures, and the value to the same place (GUM 7.2.2 and 7.2.6)."""
    if standard is None or not math.isfinite(standard) or not math.isfinite(value):
        return show(value, unit)
    expanded = COVERAGE * standard
    if expanded == 0.0:
        return show(value, unit)
    prefix, size = "", 1.0
    if unit not in UNPREFIXED:
        step = max(-4, min(3, math.floor(math.log10(max(abs(value), expanded)) / 3)))
        prefix, size = PREFIXES[step], 10.0 ** (3 * step)
    expanded = float(f"{expanded / size:.1e}")  # rounded first: 0.0996 is 0.10, with one place less
    places = min(MOST_PLACES, max(0, 1 - math.floor(math.log10(expanded))))
    written = f"{prefix}{'Ω' if unit == 'ohm' else unit}"
    numbers = f"{round(value / size, places) + 0.0:.{places}f} ± {expanded:.{places}f}"
    return f"({numbers}) {written}" if written else numbers


def limits_in_words(reading: Reading, board: Board | None) -> tuple[str, ...]:
    """What was wanted: the state of a line, the limits, and what is usual; a dash where nothing was."""
    said: list[str] = []
    line = board.lines.get(reading.net or "") if board is not None and reading.step == f"line {reading.net}" else None
    if line is not None and reading.quantity == "rate":
        said.append("any state" if line.state == "any" else line.state)
    limits = limits_words(reading)
    if limits:
        said.append(in_one_line(limits))
    usual = limits_words(replace(reading, low=reading.usual_low, high=reading.usual_high))
    if usual:
        said.append(in_one_line(f"usual {usual}"))
    return tuple(said) or ("–",)


def in_one_line(words: str) -> str:
    """Words that no line may break, where they are few enough for a column."""
    return words.replace(" ", UNBROKEN) if len(words) <= LONGEST_UNBROKEN else words


def small_number(value: float, unit: str) -> str:
    """An uncertainty with two figures; a pure number far below one as a power of ten, never as `5.9e-07`."""
    if unit or value == 0.0 or abs(value) >= LEAST_WRITTEN_OUT:
        return show(value, unit, 2)
    number, _, power = f"{value:.1e}".partition("e")
    return f"{number} · 10{str(int(power)).translate(RAISED)}"


def budget_parts(reading: Reading) -> tuple[tuple[str, float], ...]:
    """The parts of the uncertainty as (name, standard uncertainty): their squares add up to that of the reading.

    What is not listed in the reading's own budget follows as one more part; where parts cancel (they are correlated),
    what is taken off follows as a negative one, whose square is subtracted.
    """
    if reading.uncertainty is None:
        return ()
    listed = math.fsum(part * part for _, part in reading.budget)
    rest = reading.uncertainty**2 - listed
    parts = list(reading.budget)
    if abs(rest) > (NEGLIGIBLE * reading.uncertainty) ** 2:
        parts.append((FROM_SAMPLES, math.sqrt(rest)) if rest > 0.0 else (CANCELLED, -math.sqrt(-rest)))
    return tuple(parts)


def budget_lines(reading: Reading) -> tuple[BudgetLine, ...]:
    """The budget in words, the largest part first."""
    variance = (reading.uncertainty or 0.0) ** 2
    lines = []
    for name, part in sorted(budget_parts(reading), key=lambda item: -abs(item[1])):
        lines.append(BudgetLine(name, small_number(part, reading.unit), share_in_words(part, variance)))
    return tuple(lines)


def share_in_words(part: float, variance: float) -> str:
    """The share of a part in the variance, in per cent; what is taken off is negative."""
    if variance <= 0.0:
        return "–"
    share = math.copysign(100.0 * part * part / variance, part)
    return "under 1 %" if 0.0 < share < 0.5 else f"{share:.0f} %"
