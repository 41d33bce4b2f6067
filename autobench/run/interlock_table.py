"""The interlock's table as a table in text, for DEVELOPERS.md: `python -m autobench.run.interlock_table DEVELOPERS.md`.

Pure but for that one command, which replaces the block between the two marks of the file. It changes no rule.
"""

from __future__ import annotations

import sys
from pathlib import Path

from autobench.run.interlock import ALLOWED, LIVE

BEGIN = "<!-- interlock: python -m autobench.run.interlock_table DEVELOPERS.md -->"
END = "<!-- end of interlock -->"


def table() -> str:
    """One line a state, in the order in which the states are first reached; every event with the state it leads to."""
    lines = ["| state | may carry volts | what may happen → next state |", "|---|---|---|"]
    for state in states():
        ways = [f"{event} → `{target}`" for (source, event), target in ALLOWED.items() if source == state]
        live = "yes" if state in LIVE or state.startswith("ending") else "–"
        lines.append(f"| `{state}` | {live} | {', '.join(ways)} |")
    return "\n".join(lines)


def states() -> list[str]:
    """Every state, from the beginning of a run on, in the order of the table."""
    found = ["unknown"]
    for state in found:  # grows while it is read
        found += [
            target
            for target in dict.fromkeys(target for (source, _), target in ALLOWED.items() if source == state)
            if target not in found
        ]
    return found + [state for state in dict.fromkeys(source for source, _ in ALLOWED) if state not in found]


def block(text: str) -> str:
    """`text` with the block between the marks replaced; raises `ValueError` where a mark is missing."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the file has no '{BEGIN}' … '{END}'")
    return f"{before}{BEGIN}\n{table()}\n{END}{after}"


if __name__ == "__main__":
    file = Path(sys.argv[1])
    file.write_text(block(file.read_text(encoding="utf-8")), encoding="utf-8")
