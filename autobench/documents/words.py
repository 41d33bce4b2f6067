"""Words a person wrote: quoted safely, compared with the words allowed. Knows no file and raises nothing."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

LONGEST_QUOTE = 60
MOST_ALLOWED = 24


def quoted(text: str) -> str:
    """`text` in quotes, cut where it is long, with characters that a terminal would obey written out."""
    cut = text if len(text) <= LONGEST_QUOTE else f"{text[:LONGEST_QUOTE]}…"
    return f"'{printable(cut)}'"


def printable(text: str) -> str:
    """`text` on one line, every character that cannot be seen written as an escape."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def allowed_words(allowed: Iterable[str]) -> str:
    """`a, b, c` for a message, cut where there are very many."""
    words = list(allowed)
    more = [f"… ({len(words)} in all)"] if len(words) > MOST_ALLOWED else []
    return ", ".join([printable(word) for word in words[:MOST_ALLOWED]] + more) or "none"


def closest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that `word` was probably meant to be, or `None`."""
    by_small = {each.casefold(): each for each in allowed}
    found = difflib.get_close_matches(word.casefold()[:100], by_small, n=1, cutoff=0.6)
    return by_small[found[0]] if found else None


def choice_text(word: str, allowed: Iterable[str], likely: Iterable[str] | None = None) -> str:
    """`allowed are a, b, c; did you mean 'b'?`, the tail only where one is close.

    `likely` narrows what may be suggested, for instance to the keys that are not there yet.
    """
    words = list(allowed)
    if not words:
        return "none is allowed here"
    meant = closest(word, words if likely is None else likely)
    tail = f"; did you mean {quoted(meant)}?" if meant is not None else ""
    return f"allowed {'is' if len(words) == 1 else 'are'} {allowed_words(words)}{tail}"
