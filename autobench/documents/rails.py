"""The rails of a board file: what each supply line should show, and the most that may ever be put on it.

Values only: it knows no instrument and switches nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated

from pydantic import Field

from autobench.documents.fields import AmpSpan, Name, OhmSpan, Point, Seconds, Volts, VoltSpan
from autobench.documents.section import Complaint, Section
from autobench.documents.words import choice_text, quoted
from autobench.quantity import Span, show

FAR_OFF = 0.25  # share of nominal beyond which no limit of a rail has both ends; a slip of the pen, not a design


class CurrentBand(Section):
    """What a rail draws with some choices of options fitted."""

    when: dict[Name, Name] = Field(default_factory=dict)
    """Option to choice for which this band counts; an option left out does not matter, none at all: always."""
    limits: AmpSpan = Field(alias="is")
    """Amps once the rail has settled."""
    usual: AmpSpan | None = None
    """Amps of the healthy boards seen so far; outside it a reading is unusual, never a fault."""

    def fits(self, options: Mapping[str, str]) -> bool:
        """Whether this band counts for `options` (option to choice, all of them)."""
        return all(options.get(option) == choice for option, choice in self.when.items())

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.limits, self.usual)


class OhmsLimits(Section):
    """Resistance from a rail to its ground, nothing powered."""

    limits: OhmSpan = Field(alias="is")
    """Ohms of a board that may be powered."""
    usual: OhmSpan | None = None
    """Ohms of the healthy boards seen so far."""

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.limits, self.usual)
        if self.limits.low is None or self.limits.low <= 0:
            yield Complaint(("is",), "must have a lower end above 0 ohm, since that is what shows a short")


class RailPlace(Section):
    """A place along a rail where its volts are measured, between a supply pin and the ground pin beside it."""

    point: Point
    """The supply pin."""
    ground: Point
    """The ground pin the volts are taken against."""
    limits: VoltSpan = Field(alias="is")
    """Volts this board type may show here; what the verdict is taken by."""
    usual: VoltSpan | None = None
    """Volts of the healthy boards seen so far; outside it a reading is unusual, never a fault."""
    data_sheet: VoltSpan | None = None
    """Volts the part's maker asks for; reported beside the limits, never judged by."""

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.limits, self.usual)
        if self.limits.low is None or self.limits.high is None:
            yield Complaint(("is",), "must have both ends, such as '4.75 V .. 5.25 V'")
        if self.point == self.ground:
            yield Complaint(("ground",), f"is the same point as the supply pin, {self.point}")


class Drop(Section):
    """Volts lost between two places of a rail."""

    start: Name = Field(alias="from")
    """The place nearer the inlet."""
    end: Name = Field(alias="to")
    """The place farther out."""
    limits: VoltSpan = Field(alias="is")
    """Volts at `from` less volts at `to`."""
    usual: VoltSpan | None = None
    """Volts of the healthy boards seen so far."""

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.limits, self.usual)
        if self.start == self.end:
            yield Complaint(("to",), f"is the same place as 'from', {self.start}")


class Ripple(Section):
    """Ripple and noise of a rail at one of its places, peak to peak over 20 MHz."""

    place: Name
    """The place of this rail, best where the load is."""
    limits: VoltSpan = Field(alias="is")
    """Volts peak to peak: `at most 100 mV`."""
    usual: VoltSpan | None = None
    """Volts of the healthy boards seen so far."""

    def check(self) -> Iterator[Complaint]:
        yield from usual_inside(self.limits, self.usual)
        if self.limits.high is None or self.limits.high <= 0:
            yield Complaint(("is",), "must say the most there may be, such as 'at most 100 mV'")


class Rail(Section):
    """One supply line of a board that the bench feeds."""

    when: dict[Name, Name] = Field(default_factory=dict)
    """Option to choice for which the board has this inlet; none at all: always."""
    nominal: Volts
    """The designer's volts; negative for a negative rail."""
    board_takes: VoltSpan
    """The most that may ever be set, lead compensation included: `at most 5.25 V`, `at least -5.25 V` if negative."""
    trip: Volts
    """Over-voltage trip to be set in the supply."""
    amps: AmpSpan
    """Hard cap of the current limit: `at most 1.5 A`."""
    settle: Seconds
    """From power-on until the current is judged."""
    current: Annotated[tuple[CurrentBand, ...], Field(min_length=1)]
    """What the rail draws, by the options fitted; exactly one band counts for every board."""
    ohms: OhmsLimits
    """Resistance before power."""
    places: Annotated[dict[Name, RailPlace], Field(min_length=1)]
    """Where the volts are measured, from the inlet outward. The order is that of the file."""
    drops: tuple[Drop, ...] = ()
    """What may be lost along the way."""
    ripple: Ripple | None = None
    """How quiet it is, at one place."""

    @property
    def negative(self) -> bool:
        """Whether this is a rail below ground."""
        return self.nominal.value < 0

    @property
    def most_volts(self) -> float:
        """The most that may ever be set, in volts from ground whichever the sign."""
        return most_from_ground(self.board_takes, self.negative) or 0.0

    @property
    def most_amps(self) -> float:
        """The hard cap of the current limit, in amps."""
        return self.amps.high or 0.0

    def band(self, options: Mapping[str, str]) -> CurrentBand | None:
        """The current band that counts for `options`."""
        return next((band for band in self.current if band.fits(options)), None)

    def check(self) -> Iterator[Complaint]:
        yield from self.check_caps()
        yield from place_complaints(self.places, self.drops, self.ripple)
        yield from nominal_complaints(self.places, self.nominal.value)

    def check_caps(self) -> Iterator[Complaint]:
        """The volts and amps that keep a board from harm."""
        nominal, negative = self.nominal.value, self.negative
        if nominal == 0:
            yield Complaint(("nominal",), "a rail of 0 V is no rail")
            return
        most = most_from_ground(self.board_takes, negative)
        if most is None:
            wanted = "at least -5.25 V" if negative else "at most 5.25 V"
            yield Complaint(("board takes",), f"must say the most this rail may ever get, such as '{wanted}'")
        elif not self.board_takes.holds(nominal):
            yield Complaint(("board takes",), f"{self.board_takes} leaves out the nominal {self.nominal}")
        elif self.trip.value * nominal < 0 or abs(self.trip.value) <= most:
            text = f"{self.trip} must lie beyond the {show(most, 'V')} the board takes, with the sign of the rail"
            yield Complaint(("trip",), text)
        if self.amps.high is None or self.amps.high <= 0:
            yield Complaint(("amps",), "must say the most this rail may ever draw, such as 'at most 1.5 A'")
            return
        for number, band in enumerate(self.current):
            if band.limits.high is None or band.limits.low is None:
                yield Complaint(("current", number, "is"), "must have both ends, such as '0.78 A ± 8 %'")
            elif band.limits.high > self.amps.high:
                text = f"{band.limits} reaches above the cap of {show(self.amps.high, 'A')}"
                yield Complaint(("current", number, "is"), text)


class MadeRail(Section):
    """A supply line that the board makes itself out of one the bench feeds."""

    when: dict[Name, Name] = Field(default_factory=dict)
    """Option to choice for which the board makes it; none at all: always."""
    source: Name = Field(alias="from")
    """The rail it is made from."""
    nominal: Volts
    """The designer's volts; negative for a negative rail."""
    places: Annotated[dict[Name, RailPlace], Field(min_length=1)]
    """Where the volts are measured, from what makes it outward."""
    drops: tuple[Drop, ...] = ()
    """What may be lost along the way."""
    ripple: Ripple | None = None
    """How quiet it is, at one place."""

    @property
    def negative(self) -> bool:
        """Whether this is a rail below ground."""
        return self.nominal.value < 0

    def check(self) -> Iterator[Complaint]:
        yield from place_complaints(self.places, self.drops, self.ripple)
        yield from nominal_complaints(self.places, self.nominal.value)


def nominal_complaints(places: Mapping[str, RailPlace], nominal: float) -> Iterator[Complaint]:
    """Limits that lie far from the rail's nominal on one side are those of another rail."""
    for name, place in places.items():
        low, high = place.limits.low, place.limits.high
        if low is None or high is None or nominal == 0:
            continue
        ends = sorted((low / nominal, high / nominal))
        if ends[0] > 1 + FAR_OFF or ends[1] < 1 - FAR_OFF:
            text = f"{place.limits} is far from the {show(nominal, 'V')} of this rail"
            yield Complaint(("places", name, "is"), text)


def drop_complaint(number: int, drop: Drop, places: Mapping[str, RailPlace]) -> Iterator[Complaint]:
    """A drop that the limits of its two places rule out."""
    start, end = places[drop.start].limits, places[drop.end].limits
    if start.high is None or end.low is None or drop.limits.low is None or abs(start.high) < abs(end.low):
        return
    if drop.limits.low > abs(start.high - end.low):
        most = show(abs(start.high - end.low), "V")
        yield Complaint(("drops", number, "is"), f"{drop.limits} cannot be: the limits of the two places leave {most}")


def place_complaints(
    places: Mapping[str, RailPlace], drops: tuple[Drop, ...], ripple: Ripple | None
) -> Iterator[Complaint]:
    """Drops and ripple at places that are not there, and points that come twice."""
    order = list(places)
    for number, drop in enumerate(drops):
        unknown = [(key, name) for key, name in (("from", drop.start), ("to", drop.end)) if name not in order]
        for key, name in unknown:
            text = f"{quoted(name)} is not a place of this rail; {choice_text(name, order)}"
            yield Complaint(("drops", number, key), text)
        if not unknown and order.index(drop.start) > order.index(drop.end):
            text = f"comes before '{drop.start}' on the way from the inlet; write the drop the other way round"
            yield Complaint(("drops", number, "to"), text)
        elif not unknown:
            yield from drop_complaint(number, drop, places)
    if ripple is not None and ripple.place not in order:
        text = f"{quoted(ripple.place)} is not a place of this rail; {choice_text(ripple.place, order)}"
        yield Complaint(("ripple", "place"), text)
    seen: dict[str, str] = {}
    for name, place in places.items():
        if place.point in seen:
            yield Complaint(("places", name, "point"), f"{place.point} is already the place '{seen[place.point]}'")
        seen.setdefault(place.point, name)


def usual_inside(limits: Span, usual: Span | None) -> Iterator[Complaint]:
    """Complains where `usual` reaches outside `is`: a reading outside the limits cannot be usual."""
    if usual is None:
        return
    low_out = limits.low is not None and (usual.low is None or usual.low < limits.low)
    high_out = limits.high is not None and (usual.high is None or usual.high > limits.high)
    if low_out or high_out:
        yield Complaint(("usual",), f"{usual} reaches outside the limits {limits}")


def most_from_ground(span: Span, negative: bool) -> float | None:
    """The volts from ground a cap allows (always positive), or `None` where the span sets no such cap."""
    end, other = (span.low, span.high) if negative else (span.high, span.low)
    if end is None or end == 0 or (end < 0) != negative:
        return None
    if other is not None and other * end < 0:
        return None
    return abs(end)
