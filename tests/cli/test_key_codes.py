"""What terminals send for keys, cut into keys."""

from __future__ import annotations

import pytest

from autobench.cli.key_codes import next_key


def keys(typed: str, silent: bool = True) -> tuple[list[str], str]:
    """All keys of `typed`, and what is left of it."""
    found = []
    while typed:
        key, taken = next_key(typed, silent)
        if not taken:
            break
        found += [key] if key is not None else []
        typed = typed[taken:]
    return found, typed


# Arrows, Home, Page Up, F1, F5, F12, shifted and modified ones: xterm control sequences, "PC-style function keys" and
# "VT220-style function keys"; F1 and F2 of the Linux console: console_codes(4) and its keymap (from memory).
UNKNOWN = ["[A", "OA", "[H", "[5~", "OP", "[15~", "[24~", "[1;5C", "[3;2~", "[[A", "[[B", "[?1;2c", "[200~", "[I"]
FOOT_SWITCH = [f"[{number}~" for number in (26, 28, 29, 31, 32, 33, 34)]  # F14 to F20 of a VT220 (xterm's list)


@pytest.mark.parametrize("sequence", [*UNKNOWN, *FOOT_SWITCH])
def test_a_sequence_is_swallowed_whole(sequence: str) -> None:
    """Whatever a function key sends, no letter of it is left over as a key, however it is cut into pieces."""
    whole = f"\x1b{sequence}"
    assert keys(f"{whole}s") == (["s"], "")
    for length in range(1, len(whole)):
        assert keys(whole[:length], silent=False) == ([], whole[:length])


@pytest.mark.parametrize("sequence", ["[25~", "[1;2P", "OM", "[57376u"])
def test_a_foot_switch_and_the_keypad_press_enter(sequence: str) -> None:
    """F13 in each of its forms, and a keypad's Enter in application mode (xterm control sequences)."""
    assert keys(f"\x1b{sequence}") == (["enter"], "")


def test_a_keypad_in_application_mode_types_figures() -> None:
    """ESC O and a letter stand for a figure or a sign (VT100 user guide, auxiliary keypad)."""
    assert keys("\x1bOu\x1bOn\x1bOp\x1bOm") == (["5", ".", "0", "-"], "")


def test_a_lone_escape_is_a_key_once_it_stays_silent() -> None:
    """Esc counts when nothing follows; held down or pressed in a hurry with others it counts as well."""
    assert keys("\x1b", silent=False) == ([], "\x1b")
    assert keys("\x1b") == (["escape"], "")
    assert keys("\x1b\x1b\x1b", silent=False) == (["escape", "escape"], "\x1b")
    assert keys("\x1bs", silent=False) == (["escape", "s"], "")


def test_a_sequence_that_never_ends_is_dropped() -> None:
    """Its beginning is no key, and what follows after silence is one."""
    assert keys("\x1b[1;") == ([], "")
    assert keys("\x1b[1\x1b") == (["escape"], "")


def test_controls_are_no_keys() -> None:
    """Of the control characters only Enter and backspace (both of its codes) are keys."""
    assert keys("\r\n\x7f\b\x00\x04\t\x9b") == (["enter", "enter", "erase", "erase"], "")
