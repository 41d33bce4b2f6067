"""The table of readings for a terminal: one line a reading, its reason below. Judges nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from rich.cells import cell_len
from rich.text import Text

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.views.terminal_text import VERDICT_STYLES, cell, wrapped
from autobench.views.wording import MARKS, aside, limits_words, reading_name, value_words

HEADINGS = ("step", "point", "value ± U (k = 2)", "limits", "verdict")
GAP = "  "
ROOMY = 100  # columns of the screen from which every gap is a whole one
LEAST_NAME = 16  # columns of the step below which the limits give way
LEAST_BESIDE_POINT = 8  # … and below which the points do
MOST_NAME, MOST_POINT, MOST_VALUE, MOST_LIMITS, MOST_VERDICT = 44, 8, 24, 22, 12
LEAST_VERDICT = 10  # mark, space and the longest word
INDENT = "    "
WRONG = (Verdict.OUTSIDE, Verdict.VOID, Verdict.MARGINAL)
SO_FAR, MORE = "so far: ", "  and {} more"
HANG = "  "  # before what is left of a long step's name
CONDITIONAL = "in brackets: conditional – an earlier step failed, so it counts for nothing"


@dataclass(frozen=True)
class Columns:
    """Widths of the columns; no points and no limits are shown where their width is 0."""

    name: int
    point: int
    value: int
    limits: int
    verdict: int
    gap: str  # beside the point


@lru_cache(maxsize=4096)
def cells(reading: Reading) -> tuple[str, str, str, str, str]:
    """What stands in the columns."""
    word = f"({reading.verdict})" if reading.conditional else str(reading.verdict)
    verdict = f"{MARKS[reading.verdict]} {word}"
    return reading_name(reading), reading.point or "", value_words(reading), limits_words(reading), verdict


def columns(readings: Sequence[Reading], width: int) -> Columns:
    """Columns that fit all readings taken so far, so that nothing jumps while the table scrolls.

    The step's column gives way first, then the limits go: their reason, where it matters, stands below the reading.
    On the narrowest terminals the points go too.
    """
    shown = [HEADINGS, *(cells(reading) for reading in readings)]
    name, point, value, limits, verdict = (max(cell_len(row[column]) for row in shown) for column in range(5))
    name, limits = min(name, MOST_NAME), min(limits, MOST_LIMITS)
    point, value = min(point, MOST_POINT), min(value, MOST_VALUE)
    verdict = min(max(verdict, LEAST_VERDICT), MOST_VERDICT)
    gap = GAP if width >= ROOMY else " "
    free = width - verdict - point - value - 2 * len(gap) - len(GAP)
    with_limits = free - limits - len(GAP)
    if with_limits >= min(name, LEAST_NAME):
        return Columns(min(name, with_limits), point, value, limits, verdict, gap)
    if free < min(name, LEAST_BESIDE_POINT):
        return Columns(max(min(name, free + point + len(gap)), 1), 0, value, 0, verdict, gap)
    return Columns(max(min(name, free), 1), point, value, 0, verdict, gap)


def row(texts: Sequence[str], widths: Columns, verdict_style: str, style: str = "") -> Text:
    """One line of the table."""
    name, point, value, limits, verdict = texts
    shown = ((name, widths.name), (point, widths.point), (value, widths.value))
    line = Text(widths.gap.join(cell(text, columns) for text, columns in shown if columns), style)
    if widths.limits:
        line.append(GAP + cell(limits, widths.limits))
    line.append(GAP)
    line.append(cell(verdict, widths.verdict).rstrip(), verdict_style)
    return line


def heading(widths: Columns) -> Text:
    """The line above the table."""
    return row(HEADINGS, widths, "bold", "bold")


def reading_rows(reading: Reading, widths: Columns, width: int, said: Reading | None) -> list[Text]:
    """The lines of one reading; `said` is the one before it, whose reason is not said again."""
    name, *others = cells(reading)
    more: list[Text] = []
    if cell_len(name) > widths.name:
        first, *more = wrapped(name, widths.name, rest=HANG)
        name = first.plain
    lines = [row((name, *others), widths, VERDICT_STYLES[reading.verdict]), *more]
    if reading.reason and (said is None or reading.reason != said.reason):
        lines += wrapped(reading.reason, width, first=INDENT)
    if reading.conditional and (said is None or not said.conditional):
        lines += wrapped(CONDITIONAL, width, first=INDENT)
    return lines


def so_far(readings: Sequence[Reading], width: int) -> list[Text]:
    """One line that names what was not as it should be, newest first; the rows that say so scroll away.

    Conditional readings count for nothing and skipped ones say nothing of the board, so neither is named.
    """
    found = [each for each in readings if each.verdict in WRONG and not each.conditional]
    if not found:
        return []
    line = Text(SO_FAR)
    for named, reading in enumerate(reversed(found)):
        words = f"{MARKS[reading.verdict]} {reading_name(reading)}"
        left = len(found) - named - 1
        more = MORE.format(left) if left else ""
        if named and line.cell_len + len(GAP) + cell_len(words) + len(more) > width:
            line.append(MORE.format(len(found) - named))
            break
        line.append(GAP if named else "")
        line.append(words, VERDICT_STYLES[reading.verdict])
    return [line]


def newest(readings: Sequence[Reading], width: int, height: int) -> list[Text]:
    """Heading and the newest readings that fit in `height` lines, the newest at the bottom."""
    readings = [reading for reading in readings if not aside(reading)]
    widths = columns(readings, width)
    room = max(height - 1, 0)
    lines: list[Text] = []
    for number in range(len(readings) - 1, -1, -1):
        said = readings[number - 1] if number else None
        more = reading_rows(readings[number], widths, width, said)
        if len(lines) + len(more) > room:
            break
        lines = more + lines
    if not lines and readings:  # not even the newest fits whole: its beginning says most
        lines = reading_rows(readings[-1], widths, width, None)[:room]
    return [heading(widths), *lines][: max(height, 0)]
