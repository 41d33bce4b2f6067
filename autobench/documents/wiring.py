"""What hangs together on a board: nets with their points, the parts that drive and hear them, and what cannot be.

Follows from the sections of a board file and from nothing else; no option, limit or volt counts here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from autobench.documents.clocks import Clock, master_of
from autobench.documents.lines import Line
from autobench.documents.nets import GROUND, spread
from autobench.documents.parts import Part
from autobench.documents.rails import MadeRail, Rail
from autobench.documents.reset import Reset
from autobench.documents.section import Complaint
from autobench.documents.video import Video
from autobench.documents.words import choice_text, closest, quoted

Route = tuple[str | int, ...]


@dataclass(frozen=True)
class Site:
    """A point that a section of the file puts on a net; `route` leads to where it says so."""

    net: str
    point: str
    route: Route

    @property
    def part(self) -> str:
        """The part whose pin the point is."""
        return self.point.partition(".")[0]


@dataclass(frozen=True, eq=False)
class Wiring:
    """The sections of a board file that name nets. Lines and parts by the keys of the file, and by their own names."""

    rails: Mapping[str, Rail]
    made: Mapping[str, MadeRail]
    clocks: Mapping[str, Clock]
    reset: Reset | None
    video: Video | None
    line_rows: Mapping[str, Line]
    part_rows: Mapping[str, Part]
    parts: Mapping[str, Part]
    pulled_up: tuple[str, ...]

    @cached_property
    def sites(self) -> tuple[Site, ...]:
        """Every point with its net, in the order of the file; a point comes as often as it is named."""
        return (*self.measured_sites(), *self.pin_sites())

    def measured_sites(self) -> Iterator[Site]:
        """The points where something is measured."""
        for section, rails in (("rails", self.rails), ("made rails", self.made)):
            for name, rail in rails.items():
                for key, place in rail.places.items():
                    yield Site(name, place.point, (section, name, "places", key, "point"))
                    yield Site(GROUND, place.ground, (section, name, "places", key, "ground"))
        for name, clock in self.clocks.items():
            yield Site(name, clock.point, ("clocks", name, "point"))
        if self.reset is not None:
            yield Site(self.reset.line, self.reset.point, ("reset", "point"))
        if self.video is not None:
            for net, point, route in self.video.sites():
                yield Site(net, point, ("video", *route))
        for key, row in self.line_rows.items():
            for name, point in zip(spread(key), row.points, strict=False):
                yield Site(name, point, ("lines", key, "point"))

    def pin_sites(self) -> Iterator[Site]:
        """The pins that the parts tell of."""
        rows = {name: key for key in self.part_rows for name in spread(key)}
        for name, part in self.parts.items():
            row = self.part_rows[rows[name]]
            keys = {net: key for key in row.pins for net in spread(key)}
            for pin, net in part.pin_nets:
                yield Site(net, f"{name}.{pin}", ("parts", rows[name], "pins", keys[net]))

    @cached_property
    def nets(self) -> dict[str, tuple[str, ...]]:
        """Every net with its points, those where something is measured first; some nets have none."""
        found: dict[str, list[str]] = {}
        for site in self.sites:
            found.setdefault(site.net, []).append(site.point)
        for part in self.parts.values():
            for net in (*part.drives, *part.hears):
                found.setdefault(net, [])
        for net in self.pulled_up:
            found.setdefault(net, [])
        return {net: tuple(dict.fromkeys(points)) for net, points in found.items()}

    @cached_property
    def drivers(self) -> dict[str, tuple[str, ...]]:
        """Every net that a part drives, with those parts."""
        return gathered({name: part.drives for name, part in self.parts.items()})

    @cached_property
    def listeners(self) -> dict[str, tuple[str, ...]]:
        """Every net that a part listens to, with those parts."""
        return gathered({name: part.hears for name, part in self.parts.items()})

    def complaints(self) -> Iterator[Complaint]:
        """Everything that cannot be, or is probably a slip of the pen."""
        yield from self.point_complaints()
        yield from self.part_complaints()
        yield from self.lone_nets()
        yield from self.undriven_lines()
        yield from self.dividers()
        yield from self.idle_parts()
        yield from self.idle_rails()

    def point_complaints(self) -> Iterator[Complaint]:
        """A point is on one net only."""
        first: dict[str, Site] = {}
        for site in self.sites:
            before = first.setdefault(site.point, site)
            if before.net != site.net:
                text = f"{site.point} is said to be on {site.net} here and on {before.net} under '{before.route[0]}'"
                yield Complaint(site.route, text)

    def part_complaints(self) -> Iterator[Complaint]:
        """Rails that are not there, and parts that a crystal or a clock names and nobody describes."""
        for key, row in self.part_rows.items():
            if row.rail is not None and row.rail not in self.rails and row.rail not in self.made:
                known = [*self.rails, *self.made]
                text = f"{quoted(row.rail)} is not a rail of this board; {choice_text(row.rail, known)}"
                yield Complaint(("parts", key, "rail"), text)
            if row.feeds is not None and row.feeds not in self.parts:
                text = f"{quoted(row.feeds)} is not one of the parts; {choice_text(row.feeds, self.parts)}"
                yield Complaint(("parts", key, "feeds"), text)
            for net, out in row.outs.items():
                crystal = self.parts.get(out.source or "")
                if crystal is not None and crystal.feeds is not None and crystal.feeds not in spread(key):
                    text = f"follows {out.source}, but that feeds {crystal.feeds}"
                    yield Complaint(("parts", key, "outs", net), text)
        for name, clock in self.clocks.items():
            if self.parts and clock.source is not None and clock.source not in self.parts:
                text = f"{quoted(clock.source)} is not one of the parts; {choice_text(clock.source, self.parts)}"
                yield Complaint(("clocks", name, "from"), text)

    def lone_nets(self) -> Iterator[Complaint]:
        """A net that a part names by itself and nothing else in the file knows is a slip of the pen."""
        placed = {site.net for site in self.sites}
        known = {*placed, *self.parts, *self.rails, *self.made, *self.pulled_up}
        for key, row in self.part_rows.items():
            others = self.users(exclude=key)
            for net, route in named_nets(row):
                if net not in known and net not in others:
                    meant = closest(net, sorted(placed | others))
                    likely = f"; did you mean {quoted(meant)}?" if meant is not None else ""
                    text = f"nothing else in this file knows a net {quoted(net)}{likely}"
                    yield Complaint(("parts", key, *route), text, at_key=route[0] in ("outs", "needs"))

    def users(self, exclude: str) -> set[str]:
        """Every net that the parts of other keys drive or hear."""
        rows = (row for key, row in self.part_rows.items() if key != exclude)
        return {net for row in rows for net in (*row.drives, *row.hears)}

    def undriven_lines(self) -> Iterator[Complaint]:
        """A line at a pin of a part that is described must be one of its nets, driven, or pulled up."""
        for key, row in self.line_rows.items():
            for name, point in zip(spread(key), row.points, strict=False):
                owner = self.parts.get(point.partition(".")[0])
                if owner is None or name in self.drivers or name in self.pulled_up:
                    continue
                told = {*owner.drives, *owner.hears, *(net for _, net in owner.pin_nets)}
                if told and name not in told:
                    text = f"no part drives {name}, it is not pulled up, and {point.partition('.')[0]} has no such net"
                    yield Complaint(("lines", key), text, at_key=True)

    def idle_parts(self) -> Iterator[Complaint]:
        """A part that drives nets which nobody hears and nothing is measured on is there for nothing."""
        measured = {site.net for site in self.measured_sites()}
        rows = {name: key for key in self.part_rows for name in spread(key)}
        on: dict[str, set[str]] = {}  # net to the rows of parts that hear it or have a pin on it
        for name, part in self.parts.items():
            for net in (*part.hears, *(net for _, net in part.pin_nets)):
                on.setdefault(net, set()).add(rows[name])
        for key in self.part_rows:
            driven = [net for name in spread(key) for net in self.parts[name].drives]
            if driven and not any(net in measured or on.get(net, set()) - {key} for net in driven):
                names = " and ".join(dict.fromkeys(driven[:3]))
                text = f"feeds nothing: no other part is on {names}, and nothing is measured there"
                yield Complaint(("parts", key), text, at_key=True)

    def idle_rails(self) -> Iterator[Complaint]:
        """A rail that a file with parts puts no part on."""
        taken = {part.rail for part in self.parts.values()} | {net for part in self.parts.values() for net in part.ins}
        taken |= {rail.source for rail in self.made.values()}
        known = (*self.rails, *self.made)
        if any(part.rail is not None and part.rail not in known for part in self.parts.values()):
            return  # a slip in the name of a rail, which is told of by itself
        used = (part for part in self.parts.values() if part.kind not in ("connector", "switch"))
        pinned = {net for part in used for _, net in part.pin_nets}
        for section, rails in (("rails", self.rails), ("made rails", self.made)):
            for name in rails:
                if self.parts and name not in taken and name not in pinned:
                    yield Complaint((section, name), "feeds nothing: no part is on this rail", at_key=True)

    def dividers(self) -> Iterator[Complaint]:
        """What a part divides by and what the clocks say must agree."""
        for key, row in self.part_rows.items():
            inputs = [net for net in (row.clock, *row.ins) if net is not None and net in self.clocks]
            for net, out in row.outs.items():
                if out.how != "divide" or net not in self.clocks or len(inputs) != 1:
                    continue
                wanted = self.ratio_between(net, inputs[0])
                if wanted is not None and wanted != Fraction(1, out.divisor):
                    text = f"divides {inputs[0]} by {out.divisor}, but under 'clocks' {net} is {wanted} of it"
                    yield Complaint(("parts", key, "outs", net), text)

    def ratio_between(self, clock: str, other: str) -> Fraction | None:
        """Frequency of `clock` by that of `other`, exact; `None` where they have different masters."""
        (master, ratio), (other_master, other_ratio) = master_of(self.clocks, clock), master_of(self.clocks, other)
        return ratio / other_ratio if master == other_master else None


def named_nets(row: Part) -> Iterator[tuple[str, Route]]:
    """The nets a part names one by one, with where; buses are left out, since not every bit of them goes anywhere."""
    for key, net in (("clock", row.clock), ("reset", row.reset), ("select", row.select), ("enable", row.enable)):
        if net is not None:
            yield net, (key,)
    for net in row.ins:
        yield net, ("in",)
    for net in row.needs:
        yield net, ("needs", net)
    for net, out in row.outs.items():
        yield net, ("outs", net)
        if out.source is not None:
            yield out.source, ("outs", net)
        for needed in out.needs:
            yield needed, ("outs", net, "needs", needed)


def gathered(nets: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    """Net to parts, from part to nets."""
    found: dict[str, list[str]] = {}
    for name, named in nets.items():
        for net in named:
            found.setdefault(net, []).append(name)
    return {net: tuple(names) for net, names in found.items()}
