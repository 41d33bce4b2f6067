"""Seeded damage to texts, as accidents and malice do it. The same seed gives the same text."""

from __future__ import annotations

import random

# What a person, an editor, a broken cable or somebody with bad intentions puts where it does not belong.
PIECES = (
    "1e999",
    "-1e400",
    "nan",
    "inf",
    "9" * 400,
    "0x7fffffffffffffff",
    "1" + "0" * 60 + " V",
    "5 V; OUTP ON",
    "5 V\nOUTP ON",
    "'; DROP TABLE runs; --",
    "<script>alert(1)</script>",
    "\x1b[2J\x07",
    "\u202e\u200b\ufeff",
    "../../../../etc/passwd",
    "/dev/zero",
    "C:\\CON",
    "%s%n{0.__class__}",
    "{value}{channel}{x}",
    "!!python/object/apply:os.system [true]",
    "&a [*a, *a]",
    "*a",
    "<<: *a",
    "[" * 60,
    "{a: " * 60,
    "- " * 60,
    "? : ? :",
    "yes",
    "no",
    "null",
    "~",
    "''",
    '"',
    "|\n  block",
    "# comment",
    "\t",
    "\r",
    "\x00",
    "\ud800",
    "Ω" * 3000,
    "x" * 20000,
)
BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "\n".join(
    f"{chr(98 + n)}: &{chr(98 + n)} [{', '.join([f'*{chr(97 + n)}'] * 9)}]" for n in range(9)
)


def damaged_file(text: str, seed: int) -> bytes:
    """`text` with one to four kinds of damage."""
    chance = random.Random(seed)
    lines = text.split("\n")
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(lines))
        match chance.randrange(8):
            case 0:
                del lines[place]
            case 1:
                lines.insert(place, lines[chance.randrange(len(lines))])
            case 2:
                key, colon, _ = lines[place].partition(":")
                lines[place] = f"{key}{colon} {chance.choice(PIECES)}"
            case 3:
                lines[place] = " " * chance.randint(0, 60) + lines[place].lstrip()
            case 4:
                at = chance.randint(0, len(lines[place]))
                lines[place] = lines[place][:at] + chance.choice(PIECES) + lines[place][at:]
            case 5:
                lines.insert(place, BOMB)
            case 6:
                lines = lines[: place + 1]
            case _:
                lines[place] = lines[place].replace(chance.choice("0123456789:"), chance.choice(PIECES), 1)
        lines = lines or [""]
    data = bytearray("\n".join(lines).encode("utf-8", "surrogatepass"))
    if chance.random() < 0.2 and data:
        for _ in range(chance.randint(1, 20)):
            data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)


def damaged_reply(reply: bytes, chance: random.Random) -> bytes:
    """One reply, cut, doubled, flipped or replaced; never a line end of its own within."""
    match chance.randrange(7):
        case 0:
            return reply[: chance.randint(0, len(reply))]
        case 1:
            return reply + b"," + reply
        case 2:
            data = bytearray(reply or b"0")
            data[chance.randrange(len(data))] = chance.randrange(256)
            return bytes(data).replace(b"\n", b"?")
        case 3:
            return chance.choice(PIECES).encode("utf-8", "surrogatepass").replace(b"\n", b"?")
        case 4:
            return bytes(chance.randrange(256) for _ in range(chance.randint(0, 40))).replace(b"\n", b"?")
        case 5:
            return b"#9999999999" + reply
        case _:
            return reply.replace(b".", b"").replace(b"+", b"-")
