"""What the person who holds the probes is asked for, on the live screen: a pure function of the prompt. Draws nothing.

From the top: what to do; the point (or what else must be seen from the board) in large letters; part, pin and where it
is; net and what is expected; how it stands, with a bar that fills over the steady time; what is being typed; the keys.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.cells import cell_len
from rich.text import Text

from autobench.events import Prompted, PromptProgress
from autobench.views.large import HIGH, LETTERS, WIDE, large, larger, largest
from autobench.views.terminal_text import bar, wrapped
from autobench.views.wording import (
    TYPED_KINDS,
    expected_words,
    instruction_words,
    key_words,
    more_words,
    place_words,
    setting_words,
)

INSTRUCTION_STYLE = "bold reverse"
STEADY_KINDS = ("touch", "together")  # taken by themselves once they have stood
SET = "set"  # so is this one where the meter looks on
STEADY_WIDTH = 20  # columns of the bar
FULL, EMPTY, CURSOR, CUT = "█", "░", "█", "…"
BETWEEN_KEYS = " · "
MARGIN = " "
# Kind of prompt, and whether something is to be on: what is seen from the board, and from where the supply stands.
HEADLINES = {
    ("power", None): "POWER",
    ("switch", True): "ON",
    ("switch", False): "OFF",
    ("plug", True): "IN",
    ("plug", False): "OUT",
}
MOST_WORDS = 6  # lines of a long instruction
SPARE = 5  # empty lines between the parts where there is room


def prompt_lines(prompt: Prompted, progress: PromptProgress | None, width: int, room: int, height: int) -> list[Text]:
    """The panel in at most `room` lines (or what cannot be left out), none longer than `width`.

    The letters are as large as there is room for; `height` is that of the whole screen: a large one gets the largest,
    and empty lines. Where there is too little room for any of them, what is said of the place goes, from its end.
    """
    words = wrapped(instruction_words(prompt), width - 1)[:MOST_WORDS]
    top = [bar(line.plain, width, INSTRUCTION_STYLE) for line in words]
    place, last = below(prompt, width), [*standing(prompt, progress, width), *keys(prompt, width)]
    left = room - len(top) - len(place) - len(last)
    for letters in (largest, larger, large) if width >= WIDE and height >= HIGH else (larger, large):
        big = large_lines(headline(prompt), letters, width)
        if big and len(big) <= left:
            spare = [Text("")] if height >= HIGH and left - len(big) >= SPARE else []
            return [*spare, *top, *spare, *big, *spare, *place, *spare, *last, *spare]
    # The instruction names the point already: in plain letters it need not stand there a second time.
    return [*top, *place[: max(len(place) + left, 0)], *last]


def headline(prompt: Prompted) -> str:
    """What must be seen from the board: the point, or what to set or switch; nothing where words are all there is.

    Small letters become capitals here; the instruction has the point as it is written.
    """
    if (prompt.kind, prompt.on) in HEADLINES:
        return HEADLINES[prompt.kind, prompt.on]
    if prompt.place is not None:
        return prompt.place.point.upper()
    if prompt.kind == SET:
        shown = (prompt.volts, "V"), (prompt.amps, "A")
        return "  ".join(f"{value:.2f} {unit}" for value, unit in shown if value is not None)
    return ""


def large_lines(text: str, letters: Callable[[str], list[str]], width: int) -> list[Text]:
    """`text` in large letters; nothing where it is empty, too long or has a sign that has no large form."""
    if not text or any(sign not in LETTERS for sign in text):
        return []
    rows = [f"{MARGIN}{row}".rstrip() for row in letters(text)]
    return [Text(row, "bold") for row in rows] if max(map(cell_len, rows)) <= width else []


def below(prompt: Prompted, width: int) -> list[Text]:
    """Where it is and what is expected; on a supply, what it is to be set to."""
    place = prompt.place
    lines: list[Text] = []
    if place is not None:
        lines += wrapped(place_words(place), width, "bold", first=MARGIN)
        lines += wrapped(expected_words(place), width, first=MARGIN)
    for words in (more_words(prompt), setting_words(prompt)):
        lines += wrapped(words, width, first=MARGIN) if words else []
    return lines


def standing(prompt: Prompted, progress: PromptProgress | None, width: int) -> list[Text]:
    """How it stands: the bar of the steady time, what is seen, and what was typed so far with a cursor."""
    words = progress.words if progress is not None else ""
    lines: list[Text] = []
    steady = progress.steady if progress is not None else 0.0
    if prompt.kind in STEADY_KINDS or (prompt.kind == SET and progress is not None):
        lines += wrapped(words, width, "bold", first=f"{MARGIN}{steady_bar(steady)} ")[:1]
    elif words:
        lines += wrapped(words, width, "bold", first=MARGIN)[:2]
    if prompt.kind in TYPED_KINDS:
        typed = progress.typed if progress is not None and progress.typed is not None else ""
        lines.append(Text(f"{MARGIN}> {tail(typed, width - 5)}{CURSOR}", "bold"))
    return lines


def steady_bar(share: float) -> str:
    """The share (0 to 1) of the steady time that has passed."""
    full = round(min(max(share, 0.0), 1.0) * STEADY_WIDTH)
    return f"{FULL * full}{EMPTY * (STEADY_WIDTH - full)}"


def tail(words: str, width: int) -> str:
    """The end of `words`, which is where the typing goes on, in at most `width` columns."""
    if cell_len(words) <= width:
        return words
    while words and cell_len(words) > width - 1:
        words = words[1:]
    return f"{CUT}{words}"


def keys(prompt: Prompted, width: int) -> list[Text]:
    """The keys that count now; a key and what it does stay in one line."""
    lines: list[str] = []
    for words in key_words(prompt):
        joined = f"{lines[-1]}{BETWEEN_KEYS}{words}" if lines else ""
        if joined and cell_len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(f"{MARGIN}{words}")
    return emphasised(lines, key_words(prompt))


def emphasised(lines: Sequence[str], shown: Sequence[str]) -> list[Text]:
    """The lines of keys with the keys themselves in bold."""
    texts = [Text(line) for line in lines]
    for text in texts:
        for words in shown:
            at = text.plain.find(f"{MARGIN}{words}")
            if at >= 0:
                text.stylize("bold", at + 1, at + 1 + len(words.split(" ")[0]))
    return texts
