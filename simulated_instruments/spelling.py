"""Words of a user that must be known ones: refused with what is allowed and the closest spelling. It knows no bench."""

from __future__ import annotations

import difflib
from collections.abc import Collection

from autobench.errors import UsageError


def known(word: str, allowed: Collection[str], kind: str, where: str) -> str:
    """`word` if it is allowed; else a `UsageError` that lists what is and names the closest spelling."""
    if word in allowed:
        return word
    close = difflib.get_close_matches(word, list(allowed), n=1, cutoff=0.6)
    hint = f"; did you mean '{close[0]}'?" if close else "."
    raise UsageError(f"'{word}' is not a {kind} of {where}{hint} Allowed: {', '.join(allowed) or 'none'}")
