"""Words and figures in large letters, from block characters: to be read from the board, not from the chair.

Text in, rows of text out: capitals, figures, and the signs that points, nets and numbers are written with. Knows no
colour and no screen.
"""

from __future__ import annotations

TALL = 5  # points in height
WIDE, HIGH = 120, 36  # columns and lines of a screen from which on the larger size is used
# Points of each letter, row by row from the top.
LETTERS: dict[str, tuple[str, str, str, str, str]] = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", "###", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", "  #", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    ".": (" ", " ", " ", " ", "#"),
    ",": (" ", " ", " ", "#", "#"),
    ":": (" ", "#", " ", "#", " "),
    "-": ("   ", "   ", "###", "   ", "   "),
    "+": ("   ", " # ", "###", " # ", "   "),
    "_": ("   ", "   ", "   ", "   ", "###"),
    "/": ("  #", "  #", " # ", "#  ", "#  "),
    "~": ("    ", " # #", "# # ", "    ", "    "),
    "#": (" # # ", "#####", " # # ", "#####", " # # "),
    "?": ("###", "  #", " ##", "   ", " # "),
    " ": ("  ", "  ", "  ", "  ", "  "),
    "A": (" ## ", "#  #", "####", "#  #", "#  #"),
    "B": ("### ", "#  #", "### ", "#  #", "### "),
    "C": (" ###", "#   ", "#   ", "#   ", " ###"),
    "D": ("### ", "#  #", "#  #", "#  #", "### "),
    "E": ("####", "#   ", "### ", "#   ", "####"),
    "F": ("####", "#   ", "### ", "#   ", "#   "),
    "G": (" ###", "#   ", "# ##", "#  #", " ###"),
    "H": ("#  #", "#  #", "####", "#  #", "#  #"),
    "I": ("#", "#", "#", "#", "#"),
    "J": ("  ##", "   #", "   #", "#  #", " ## "),
    "K": ("#  #", "# # ", "##  ", "# # ", "#  #"),
    "L": ("#   ", "#   ", "#   ", "#   ", "####"),
    "M": ("#   #", "## ##", "# # #", "#   #", "#   #"),
    "N": ("#   #", "##  #", "# # #", "#  ##", "#   #"),
    "O": (" ## ", "#  #", "#  #", "#  #", " ## "),
    "P": ("### ", "#  #", "### ", "#   ", "#   "),
    "Q": (" ##  ", "#  # ", "#  # ", "# ## ", " ## #"),
    "R": ("### ", "#  #", "### ", "# # ", "#  #"),
    "S": (" ###", "#   ", " ## ", "   #", "### "),
    "T": ("#####", "  #  ", "  #  ", "  #  ", "  #  "),
    "U": ("#  #", "#  #", "#  #", "#  #", " ## "),
    "V": ("#   #", "#   #", " # # ", " # # ", "  #  "),
    "W": ("#   #", "#   #", "# # #", "## ##", "#   #"),
    "X": ("#   #", " # # ", "  #  ", " # # ", "#   #"),
    "Y": ("#   #", " # # ", "  #  ", "  #  ", "  #  "),
    "Z": ("####", "   #", " ## ", "#   ", "####"),
}
HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def points(text: str) -> list[str]:
    """The rows of points of a text; raises `KeyError` for a letter that has no large form."""
    letters = [LETTERS[letter] for letter in text]
    return [" ".join(letter[row] for letter in letters) for row in range(TALL)]


def large(text: str) -> list[str]:
    """`text` three rows tall: two points of height in a character."""
    rows = points(text)
    rows.append(" " * len(rows[0]))
    return [
        "".join(HALVES[upper == "#", lower == "#"] for upper, lower in zip(rows[row], rows[row + 1], strict=True))
        for row in range(0, len(rows), 2)
    ]


def larger(text: str) -> list[str]:
    """`text` five rows tall: a point is two characters wide and one high."""
    return ["".join("██" if point == "#" else "  " for point in row) for row in points(text)]


def largest(text: str) -> list[str]:
    """`text` ten rows tall: a point is four characters wide and two high."""
    wide = ["".join("████" if point == "#" else "    " for point in row) for row in points(text)]
    return [row for row in wide for _ in range(2)]
