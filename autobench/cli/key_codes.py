"""What a terminal sends for a key, cut into keys: signs in, the name of a key and its length out. Reads nothing.

Control sequences begin with an escape sign (ECMA-48, 5.4: parameter bytes 03/00-03/15, intermediate bytes
02/00-02/15, a final byte 04/00-07/14); keypads and some function keys use a single shift (ESC O and one sign).
"""

from __future__ import annotations

import re

ESCAPE, ENTER, ERASE = "escape", "enter", "erase"
SIGNS = {"\r": ENTER, "\n": ENTER, "\x7f": ERASE, "\b": ERASE}
# CSI with its parameters; the console of Linux has ESC [ [ and a letter for its first function keys.
WHOLE = re.compile(r"\x1b(?:\[(?:\[.|[0-?]*[ -/]*[@-Z\\-~])|O[0-9;]*[ -/:-~])", re.DOTALL)
BEGUN = re.compile(r"\x1b(?:\[(?:\[|[0-?]*[ -/]*)|O[0-9;]*)?", re.DOTALL)
# F13, which foot switches send: as a VT220 numbered it, as shifted F1 in terminals with twelve keys, and by its code in
# the private use area of Unicode; and the Enter of a keypad in its application mode (from memory).
ENTERS = ("\x1b[25~", "\x1b[1;2P", "\x1bO2P", "\x1b[57376u", "\x1bOM")
# Figures and signs of a keypad in its application mode: the letter is the sign moved by 0x40 (VT100, from memory).
KEYPAD = re.compile(r"\x1bO([j-y])")
MOVED = 0x40


def next_key(typed: str, silent: bool) -> tuple[str | None, int]:
    """The first key of `typed` (not empty) and how many signs it took; no key for signs that are swallowed.

    A key is a printable sign or one of `escape`, `enter`, `erase`. 0 signs taken: more must come first. `silent` says
    that nothing has come for a while, so that nothing more belongs to what is there. An escape sign that begins no
    sequence is the key Esc whatever follows: somebody in a hurry presses others after it.
    """
    sign = typed[0]
    if sign != "\x1b":
        return SIGNS.get(sign, sign if sign.isprintable() else None), 1
    whole = WHOLE.match(typed)
    if whole is not None:
        return sequence_key(whole[0]), len(whole[0])
    begun = BEGUN.match(typed)
    length = len(begun[0]) if begun is not None else 1
    if length < len(typed):  # something follows that cannot belong to it
        return (ESCAPE, 1) if length == 1 else (None, length)
    if not silent:
        return None, 0
    return (ESCAPE, 1) if length == 1 else (None, length)


def sequence_key(sequence: str) -> str | None:
    """The key of a whole sequence; `None` for arrows, function keys and whatever else has no meaning here."""
    if sequence in ENTERS:
        return ENTER
    keypad = KEYPAD.fullmatch(sequence)
    return chr(ord(keypad[1]) - MOVED) if keypad is not None else None
