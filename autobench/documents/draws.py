"""What the parts of a board draw, added up by rail, and whether that can be what the rail's current band says."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping

from autobench.documents.parts import ALWAYS, Part, each_part
from autobench.documents.rails import Rail
from autobench.documents.section import Complaint
from autobench.documents.words import allowed_words
from autobench.quantity import show

Choices = Mapping[str, tuple[str, ...]]  # option to its choices

# A sum this far outside a band is a slip of the pen: parts of one type differ less among each other.
SLACK = 0.25
MOST_COMBINATIONS = 4096  # of choices that one rail's current may depend on


def option_of(part: Part, choices: Choices) -> str | None:
    """The option that a part's current depends on; `None` where it depends on none or the file is wrong."""
    return next((option for option, named in choices.items() if set(named) == set(part.draws)), None)


def amps_of(part: Part, choices: Choices, options: Mapping[str, str]) -> float:
    """Amps a part draws with `options` (all of them); 0 where the file does not say."""
    if not part.draws:
        return 0.0
    option = option_of(part, choices)
    return part.draws[ALWAYS if option is None else options[option]].value


def sum_of(parts: Mapping[str, Part], rail: str, choices: Choices, options: Mapping[str, str]) -> float:
    """Amps of every part on a rail together."""
    return math.fsum(amps_of(part, choices, options) for part in parts.values() if part.rail == rail)


def choice_complaints(rows: Mapping[str, Part], choices: Choices) -> Iterator[Complaint]:
    """A current by choice must name all the choices of one option."""
    for key, row in rows.items():
        if not row.draws or ALWAYS in row.draws:
            continue
        fitting = [option for option, named in choices.items() if set(named) == set(row.draws)]
        if not fitting:
            options = allowed_words(f"{option} ({', '.join(named)})" for option, named in choices.items())
            text = f"names {allowed_words(row.draws)}, which are not the choices of one option; options are {options}"
            yield Complaint(("parts", key, "draws"), text)
        elif len(fitting) > 1:
            text = f"names choices that {' and '.join(fitting)} both have; they cannot be told apart"
            yield Complaint(("parts", key, "draws"), text)


def sum_complaints(rails: Mapping[str, Rail], rows: Mapping[str, Part], choices: Choices) -> Iterator[Complaint]:
    """Bands that the sum of the parts misses by more than a quarter; rails whose parts say nothing are left alone."""
    parts = each_part(rows)
    for name, rail in rails.items():
        telling = [part for part in parts.values() if part.rail == name and part.draws]
        if not telling:
            continue
        counting = [option_of(part, choices) for part in telling]
        used = [option for option in choices if option in counting or any(option in band.when for band in rail.current)]
        if math.prod(len(choices[option]) for option in used) > MOST_COMBINATIONS:
            continue  # the bands themselves are refused for that
        missed: set[int] = set()
        for combination in itertools.product(*(choices[option] for option in used)):
            options = dict(zip(used, combination, strict=True))
            amps = sum_of(parts, name, choices, options)
            for number, band in enumerate(rail.current):
                low, high = band.limits.low or 0.0, band.limits.high or math.inf
                outside = not low * (1 - SLACK) <= amps <= high * (1 + SLACK)
                if band.fits(options) and outside and number not in missed:
                    missed.add(number)
                    chosen = ", ".join(f"{option}={choice}" for option, choice in options.items())
                    text = f"the parts on {name} draw {show(amps, 'A')} together{f' with {chosen}' if chosen else ''}"
                    yield Complaint(("rails", name, "current", number, "is"), f"{text}; {band.limits} cannot be right")
