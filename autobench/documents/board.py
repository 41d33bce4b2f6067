"""The board file: what a board type should show, and with which options. Written by whoever designs the round.

It knows no bench and no instrument. What is really soldered on a simulated board is written
elsewhere and not read here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.fields import Listed, Name, Words, YesNo
from autobench.documents.rails import CurrentBand, Rail
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, quoted
from autobench.errors import UsageError
from autobench.quantity import Span

MOST_COMBINATIONS = 4096  # of choices that one rail's current may depend on


class Architecture(Section):
    """How the board is built: the same observation means opposite things on different ones."""

    power_input: Literal["dc5", "dc9 unregulated", "ac9", "multi rail", "mains inside"]
    """What comes in at the inlet."""
    cpu_class: Literal["R", "S", "E", "M", "3V"]
    """R: refresh counter and fetch strobe; S: SYNC and two phases; E: synchronous E clock; M: multiplexed bus;
    3V: three rails."""
    cpu_socketed: YesNo
    """Whether the CPU can be lifted out."""
    cpu_clock_source: Literal["divider", "video chip", "gate array", "own crystal"]
    """What makes the CPU clock."""
    reset_source: Literal["rc", "timer", "supervisor", "video chip", "keyboard controller"]
    """What releases the reset."""
    video_timing: Literal["fixed", "programmable", "cpu generated"]
    """fixed: sync runs with the CPU out; programmable: needs software first."""
    refresh_source: Literal["cpu", "video", "counter", "none"]
    """Who refreshes the dynamic memory: only a CPU's own refresh proves that it fetches."""
    ram_type: Literal["dram 1 rail", "dram 3 rail", "static"]
    """Kind of main memory."""
    video_ram_shared: YesNo
    """Whether the CPU and the video share one memory."""
    wait_source: Literal["none", "video chip", "gate array", "io"]
    """Who stretches accesses: then rates fall and only ratios stay exact."""
    fetch_strobe_used: Annotated[tuple[Literal["waits", "paging", "interrupt acknowledge", "nothing"], ...], Listed()]
    """What the fetch strobe is used for: whether the board runs at all with a dead one."""

    def check(self) -> Iterator[Complaint]:
        if not self.fetch_strobe_used:
            yield Complaint(("fetch strobe used",), "nothing is written here; write 'nothing' if it goes nowhere")
        elif "nothing" in self.fetch_strobe_used and len(self.fetch_strobe_used) > 1:
            yield Complaint(("fetch strobe used",), "'nothing' cannot stand beside another use")
        if self.refresh_source == "cpu" and self.cpu_class != "R":
            yield Complaint(("refresh source",), "only a CPU of class R refreshes the memory itself")


class Option(Section):
    """Something that differs from board to board of this type and changes what is healthy."""

    words: Words
    """What the option is."""
    default: Name
    """The choice taken where nobody says."""
    choices: Annotated[dict[Name, Words], Field(min_length=1)]
    """Name of each choice, with what it is."""

    def check(self) -> Iterator[Complaint]:
        if self.default not in self.choices:
            text = f"{quoted(self.default)} is not one of the choices; {choice_text(self.default, self.choices)}"
            yield Complaint(("default",), text)


class Board(Section):
    """One board type."""

    board: Name
    """Name of the type, as in `autobench check NAME`."""
    words: Words
    """What it is, in a line."""
    revision: Name | None = None
    """Revision of the printed board these figures hold for."""
    architecture: Architecture
    """How it is built."""
    options: dict[Name, Option] = Field(default_factory=dict)
    """What may differ between boards of this type."""
    rails: Annotated[dict[Name, Rail], Field(min_length=1)]
    """Supply lines in the order they are switched on; off is the reverse."""

    def rail_current(self, rail: str, options: Mapping[str, str]) -> Span:
        """Amps a healthy board draws on `rail` with `options` fitted (defaults filled in); raises `UsageError`."""
        return self.band(rail, self.resolve_options(options)).limits

    def other_fits(self, rail: str, options: Mapping[str, str], amps: float) -> list[str]:
        """Choices that would explain `amps` where the declared ones do not, as `video=early`; empty where they do.

        Only one option is changed at a time: two wrong declarations at once are not guessed at.
        """
        declared = self.resolve_options(options)
        if self.band(rail, declared).limits.holds(amps):
            return []
        return [
            f"{name}={choice}"
            for name, option in self.options.items()
            for choice in option.choices
            if choice != declared[name] and self.band(rail, {**declared, name: choice}).limits.holds(amps)
        ]

    def resolve_options(self, given: Mapping[str, str]) -> dict[str, str]:
        """Every option of the board with its choice, defaults filled in.

        Raises `UsageError` for an option or a choice the board does not have.
        """
        for name, choice in given.items():
            if name not in self.options:
                raise UsageError(f"{self.board} has no option {quoted(name)}; {choice_text(name, self.options)}")
            choices = self.options[name].choices
            if choice not in choices:
                raise UsageError(f"option {name} has no choice {quoted(choice)}; {choice_text(choice, choices)}")
        return {name: given.get(name, option.default) for name, option in self.options.items()}

    def band(self, rail: str, options: Mapping[str, str]) -> CurrentBand:
        """The current band of `rail` for resolved `options`; raises `UsageError` for a rail the board lacks."""
        if rail not in self.rails:
            raise UsageError(f"{self.board} has no rail {quoted(rail)}; {choice_text(rail, self.rails)}")
        band = self.rails[rail].band(options)
        if band is None:
            raise UsageError(f"{self.board} does not say what rail {rail} draws with {in_words(options)}")
        return band

    def points(self) -> list[str]:
        """Every point that the rails name, in the order of the file, each once."""
        named = (
            point
            for rail in self.rails.values()
            for place in rail.places.values()
            for point in (place.point, place.ground)
        )
        return list(dict.fromkeys(named))

    def check(self) -> Iterator[Complaint]:
        for name, rail in self.rails.items():
            wrong_words = list(self.check_when(name, rail))
            yield from wrong_words or self.check_bands(name, rail)

    def check_when(self, name: str, rail: Rail) -> Iterator[Complaint]:
        """Every option and choice a current band names must be there."""
        for number, band in enumerate(rail.current):
            route = ("rails", name, "current", number, "when")
            for option, choice in band.when.items():
                if option not in self.options:
                    text = f"{quoted(option)} is not an option of this board; {choice_text(option, self.options)}"
                    yield Complaint((*route, option), text, at_key=True)
                elif choice not in self.options[option].choices:
                    choices = self.options[option].choices
                    text = f"{quoted(choice)} is not a choice of {option}; {choice_text(choice, choices)}"
                    yield Complaint((*route, option), text)

    def check_bands(self, name: str, rail: Rail) -> Iterator[Complaint]:
        """Exactly one band must count for every board that can be declared."""
        used = [option for option in self.options if any(option in band.when for band in rail.current)]
        choices = [list(self.options[option].choices) for option in used]
        if math.prod(map(len, choices)) > MOST_COMBINATIONS:
            yield Complaint(("rails", name, "current"), "depends on too many options at once")
            return
        reported: set[tuple[int, ...]] = set()
        for combination in itertools.product(*choices):
            options = dict(zip(used, combination, strict=True))
            counting = tuple(number for number, band in enumerate(rail.current) if band.fits(options))
            if not counting and counting not in reported:
                yield Complaint(("rails", name, "current"), f"no band counts with {in_words(options)}")
            elif len(counting) > 1 and counting not in reported:
                text = f"counts together with item {counting[0] + 1}{' with ' + in_words(options) if options else ''}"
                yield Complaint(("rails", name, "current", counting[1]), text)
            reported.add(counting)


def in_words(options: Mapping[str, str]) -> str:
    """`video=late, power=bench`."""
    return ", ".join(f"{option}={choice}" for option, choice in options.items())
