"""Kinds of work a program does, by the names that a circuit file's firmware mix uses. It needs no arithmetic."""

from __future__ import annotations

from collections.abc import Mapping

# The code (00 stands for an operand), and whether a conditional one goes its longer way.
CODES: Mapping[str, tuple[bytes, bool]] = {
    "register": (b"\x78", False),
    "immediate": (b"\x3e\x00", False),
    "load": (b"\x7e", False),
    "store": (b"\x77", False),
    "jump": (b"\xc3\x00\x00", False),
    "branch": (b"\x18\x00", False),
    "loop": (b"\x10\x00", True),
    "call": (b"\xcd\x00\x00", False),
    "return": (b"\xc9", False),
    "push": (b"\xe5", False),
    "pop": (b"\xe1", False),
    "add": (b"\x19", False),
    "count": (b"\x23", False),
    "bits": (b"\xcb\x3f", False),
    "indexed": (b"\xdd\x7e\x00", False),
    "block move": (b"\xed\xb0", True),
    "block search": (b"\xed\xb1", True),
    "input": (b"\xdb\x00", False),
    "output": (b"\xd3\x00", False),
}

# The same for class S: its code (00 stands for an operand), and the clocks a taken branch or a carry add.
CODES_CLASS_S: Mapping[str, tuple[bytes, int]] = {
    "register": (b"\xe8", 0),
    "immediate": (b"\xa9\x00", 0),
    "compare": (b"\xc9\x00", 0),
    "load zero page": (b"\xa5\x00", 0),
    "store zero page": (b"\x85\x00", 0),
    "count zero page": (b"\xe6\x00", 0),
    "load": (b"\xad\x00\x00", 0),
    "store": (b"\x8d\x00\x00", 0),
    "load indexed": (b"\xbd\x00\x00", 0),
    "load pointer": (b"\xb1\x00", 0),
    "store pointer": (b"\x91\x00", 0),
    "branch": (b"\xd0\x00", 1),
    "branch not taken": (b"\xf0\x00", 0),
    "jump": (b"\x4c\x00\x00", 0),
    "call": (b"\x20\x00\x00", 0),
    "return": (b"\x60", 0),
    "push": (b"\x48", 0),
    "pop": (b"\x68", 0),
}
