"""Styled lines of a given width, and what they are on the wire. Knows no run; only here and above is rich imported.

Only bold, reverse and three of the eight basic colours are used, never a background: whatever a terminal's own two
colours are, these stand out from the one it writes on.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from io import StringIO

from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.text import Text

from autobench.judgement.verdict import Verdict

VERDICT_STYLES = {
    Verdict.WITHIN: "green",
    Verdict.UNUSUAL: "magenta",
    Verdict.MARGINAL: "bold magenta",
    Verdict.OUTSIDE: "bold red",
    Verdict.VOID: "bold",
    Verdict.SKIPPED: "",
}
BOARD_STYLES = {"good": "bold green", "faulty": "bold red", "undecided": "bold magenta", "stopped": "bold"}
SIMULATED_STYLE = "bold reverse"
LIVE_STYLE = "bold red reverse"


@lru_cache(maxsize=4)
def console_of(width: int, colour: bool) -> Console:
    """A console that writes for a terminal of that width into a text, and reads nothing of its surroundings."""
    return Console(
        file=StringIO(),
        width=width,
        height=100,
        force_terminal=True,
        color_system="standard",
        no_color=not colour,
        legacy_windows=False,
        highlight=False,
        markup=False,
        emoji=False,
        _environ={},
    )


def sent(lines: Sequence[Text], width: int, colour: bool = True) -> list[str]:
    """The lines as they go to a terminal, each closed in itself, cut at `width`."""
    console = console_of(width, colour)
    with console.capture() as capture:
        for line in lines:
            console.print(fitted(line, width), no_wrap=True, overflow="crop", crop=True)
    return capture.get().split("\n")[:-1]


def fitted(line: Text, width: int) -> Text:
    """`line`, with an ellipsis where it is longer than `width`."""
    if line.cell_len > width:
        line = line.copy()
        line.truncate(width, overflow="ellipsis")
    return line


def cell(words: str, width: int) -> str:
    """`words` in exactly `width` columns."""
    if cell_len(words) > width:
        return set_cell_size(words, max(width - 1, 0)) + "…" if width > 0 else ""
    return set_cell_size(words, width)


def bar(words: str, width: int, style: str) -> Text:
    """A line styled over its whole width."""
    return Text(cell(f" {words}", width), style)


def wrapped(words: str, width: int, style: str = "", *, first: str = "", rest: str | None = None) -> list[Text]:
    """`words` over as many lines as they need, behind `first` on the first line and `rest` on the others.

    Without `rest` the others stand as far in as the words of the first do.
    """
    rest = " " * cell_len(first) if rest is None else rest
    own = first[len(rest) :]  # what stands on the first line only takes part in the wrapping
    lines = Text.assemble(own, (words, style)).wrap(
        console_of(width, True), max(width - cell_len(rest), 1), overflow="fold"
    )
    for line in lines:
        line.rstrip()
    return [Text.assemble(first[: len(rest)] if number == 0 else rest, line) for number, line in enumerate(lines)]
