"""The board file: what a board type should show, and with which options. Written by whoever designs the round.

It knows no bench and no instrument. What is really soldered on a simulated board is written
elsewhere and not read here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cached_property
from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.bus import Delay, Refresh, bus_complaints
from autobench.documents.clocks import Clock, clock_complaints, limits_of, master_of, nominal_of
from autobench.documents.draws import MOST_COMBINATIONS, amps_of, choice_complaints, sum_complaints
from autobench.documents.fields import Listed, Name, Words, YesNo
from autobench.documents.flags import flag_complaints
from autobench.documents.lines import Line, Ratio, each_line, line_complaints
from autobench.documents.nets import Net, NetRange, Nets, PartRange
from autobench.documents.parts import Part, each_part, part_complaints
from autobench.documents.rails import CurrentBand, MadeRail, Rail, RailPlace
from autobench.documents.rates import rate_complaints
from autobench.documents.reset import Reset, ResetSource
from autobench.documents.section import Complaint, Section
from autobench.documents.video import Video
from autobench.documents.wiring import Wiring
from autobench.documents.words import choice_text, quoted
from autobench.errors import UsageError
from autobench.quantity import Span


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
    reset_source: ResetSource
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
    made_rails: dict[Name, MadeRail] = Field(default_factory=dict)
    """Supply lines the board makes out of those."""
    clocks: dict[Net, Clock] = Field(default_factory=dict)
    """Clock nets, from the crystal outward."""
    reset: Reset | None = None
    """The line that starts the board."""
    video: Video | None = None
    """Sync, and what leaves the board for a display."""
    line_rows: dict[NetRange, Line] = Field(default_factory=dict, alias="lines")
    """What the CPU must be given and what it must do, as written; `lines` has each line by its own name."""
    ratios: tuple[Ratio, ...] = ()
    """Counts of lines that are in a fixed ratio."""
    delays: tuple[Delay, ...] = ()
    """Times from the fall of one line to that of another."""
    refresh: Refresh | None = None
    """How it shows that the memory is refreshed."""
    part_rows: dict[PartRange, Part] = Field(default_factory=dict, alias="parts")
    """What is fitted and how it hangs together, as written; `parts` has each part by its own name."""
    pulled_up: Nets = ()
    """Nets that are high when nobody drives them."""

    @cached_property
    def lines(self) -> dict[str, Line]:
        """Every line by its own name, with its one point, in the order of the file."""
        return each_line(self.line_rows)

    @cached_property
    def parts(self) -> dict[str, Part]:
        """Every part by its own name, in the order of the file."""
        return each_part(self.part_rows)

    @cached_property
    def wiring(self) -> Wiring:
        """What hangs together: nets, points, drivers and listeners."""
        return Wiring(
            self.rails,
            self.made_rails,
            self.clocks,
            self.reset,
            self.video,
            self.line_rows,
            self.part_rows,
            self.parts,
            self.pulled_up,
        )

    def nets(self) -> dict[str, tuple[str, ...]]:
        """Every net of the board with its points, those where something is measured first."""
        return self.wiring.nets

    def fed(self, options: Mapping[str, str]) -> dict[str, Rail]:
        """The rails the bench feeds with resolved `options`, in the order they are switched on."""
        return {name: rail for name, rail in self.rails.items() if fitted(rail.when, options)}

    def made(self, options: Mapping[str, str]) -> dict[str, MadeRail]:
        """The rails the board makes itself with resolved `options`."""
        return {name: rail for name, rail in self.made_rails.items() if fitted(rail.when, options)}

    def nominal(self, clock: str) -> float:
        """Hz of a clock in the middle of its limits; raises `UsageError` for one the board lacks."""
        return nominal_of(self.clocks, self.known_clock(clock))

    def clock_limits(self, clock: str) -> Span:
        """Hz a clock may have: its own limits, or those of its master times the exact ratio; raises `UsageError`."""
        return limits_of(self.clocks, self.known_clock(clock))

    def ratio(self, clock: str) -> tuple[str, Fraction] | None:
        """The clock that `clock` is made of and the exact ratio to it; `None` for one with limits of its own.

        Raises `UsageError` for a clock the board lacks.
        """
        of = self.clocks[self.known_clock(clock)].of
        return None if of is None else (of.clock, of.ratio)

    def master(self, clock: str) -> tuple[str, Fraction]:
        """The clock with limits of its own at the root of `clock`, and the exact ratio to it; raises `UsageError`."""
        return master_of(self.clocks, self.known_clock(clock))

    def known_clock(self, clock: str) -> str:
        """The name itself; raises `UsageError` for a clock the board lacks."""
        if clock not in self.clocks:
            raise UsageError(f"{self.board} has no clock {quoted(clock)}; {choice_text(clock, self.clocks)}")
        return clock

    def part_amps(self, part: str, options: Mapping[str, str]) -> float:
        """Amps a part draws while it does its full work, 0 where the file does not say; raises `UsageError`."""
        if part not in self.parts:
            raise UsageError(f"{self.board} has no part {quoted(part)}; {choice_text(part, self.parts)}")
        return amps_of(self.parts[part], self.choices(), self.resolve_options(options))

    def choices(self) -> dict[str, tuple[str, ...]]:
        """Every option with the names of its choices."""
        return {name: tuple(option.choices) for name, option in self.options.items()}

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

    def places(self) -> list[RailPlace]:
        """Every place of every rail, from the first rail's inlet outward."""
        return [place for rail in self.rails.values() for place in rail.places.values()]

    def points(self) -> list[str]:
        """Every point where something is measured, in the order of the file, each once."""
        return list(dict.fromkeys(site.point for site in self.wiring.measured_sites()))

    def check(self) -> Iterator[Complaint]:
        wrong_bands: list[Complaint] = [*self.check_made()]
        for name, rail in self.rails.items():
            wrong_words = list(self.check_when(name, rail))
            wrong_bands += wrong_words or self.check_bands(name, rail)
        yield from wrong_bands
        yield from self.check_source()
        yield from line_complaints(self.line_rows, self.ratios, self.reset is not None)
        yield from bus_complaints(self.lines, self.delays, self.refresh)
        wrong_clocks = list(clock_complaints(self.clocks))
        wrong_parts = [*part_complaints(self.part_rows), *choice_complaints(self.part_rows, self.choices())]
        yield from (*wrong_clocks, *wrong_parts)
        if not wrong_clocks and not wrong_parts:  # what follows takes them for granted
            yield from self.wiring.complaints()
            yield from flag_complaints(self)
            yield from rate_complaints(self.line_rows, self.ratios, self.clocks, self.parts)
            if not wrong_bands:
                yield from sum_complaints(self.rails, self.part_rows, self.choices())

    def check_source(self) -> Iterator[Complaint]:
        """What releases the reset is said in two places, and what it holds is a line."""
        if self.reset is not None and self.reset.holds is not None and self.reset.holds not in self.lines:
            text = f"{quoted(self.reset.holds)} is not one of the 'lines'; {choice_text(self.reset.holds, self.lines)}"
            yield Complaint(("reset", "holds"), text)
        if self.reset is not None and self.reset.source not in (None, self.architecture.reset_source):
            text = (
                f"'{self.reset.source}', but 'reset source' under 'architecture' is '{self.architecture.reset_source}'"
            )
            yield Complaint(("reset", "from"), text)

    def check_made(self) -> Iterator[Complaint]:
        """A rail is made from one that is fed then, and no rail is both fed and made."""
        for section, rails in (("rails", self.rails), ("made rails", self.made_rails)):
            for name, rail in rails.items():
                for option, choice in rail.when.items():
                    known = self.options[option].choices if option in self.options else None
                    if known is None or choice not in known:
                        text = f"{quoted(option)} has no such choice; options are {choice_text(option, self.options)}"
                        yield Complaint((section, name, "when", option), text, at_key=True)
        for name, made in self.made_rails.items():
            source = self.rails.get(made.source)
            if source is None:
                text = f"{quoted(made.source)} is not a rail the bench feeds; {choice_text(made.source, self.rails)}"
                yield Complaint(("made rails", name, "from"), text)
            fed = self.rails.get(name)
            if fed is not None and all(fed.when.get(option) == choice for option, choice in made.when.items()):
                yield Complaint(("made rails", name), "is fed by the bench with the same options", at_key=True)

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


def fitted(when: Mapping[str, str], options: Mapping[str, str]) -> bool:
    """Whether something that is there `when` those choices are fitted is there with `options`."""
    return all(options.get(option) == choice for option, choice in when.items())


def in_words(options: Mapping[str, str]) -> str:
    """`video=late, power=bench`."""
    return ", ".join(f"{option}={choice}" for option, choice in options.items())
