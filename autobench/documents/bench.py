"""The bench file: which instruments there are, and how they are wired to a board.

Names and numbers only: no address is opened here, and whether a driver can do what is asked is the planner's business.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from autobench.documents.driver_sections import LineEnds
from autobench.documents.fields import (
    Amps,
    AmpSpan,
    Day,
    Hertz,
    Listed,
    Name,
    Ohms,
    Point,
    Seconds,
    VoltSpan,
    Words,
    Written,
    WrongTextError,
    YesNo,
    whole,
)
from autobench.documents.rails import most_from_ground
from autobench.documents.reference_plug import ReferencePlug
from autobench.documents.section import Complaint, Section
from autobench.documents.serial_line import SerialLine, read_serial_line
from autobench.documents.words import choice_text, quoted
from autobench.quantity import Quantity

POSITIONS_A_SLOT = 100  # relay channel = 100 x slot + position
LOOPBACK = re.compile(
    r"TCPIP[0-9]*::(127\.[0-9.]+|localhost|::1|\[::1\])(,[0-9]+)?::.+|ASRL/dev/pts/[0-9]+(::INSTR)?", re.I
)
Lack = Literal["no guard", "no trip", "no read-back"]
INPUTS = re.compile(r"high|low|[1-8]")
TIP = re.compile(r"(.+) ([1-8])")
BY_HAND = "by hand"  # in place of a supply's name: a supply with knobs and a switch only


def read_address(text: str) -> str:
    """A VISA address such as `GPIB0::5::INSTR`."""
    if not text or not text.isascii() or not text.isprintable() or " " in text or ";" in text:
        such = "GPIB0::5::INSTR or TCPIP::bench-meter::5025::SOCKET"
        raise WrongTextError(f"{quoted(text)} is not an address; write it like {such}")
    return text


def read_driver(text: str) -> str:
    """A driver's name, or the path of a driver file seen from the bench file."""
    if not text.strip() or not text.isprintable() or text != text.strip():
        raise WrongTextError(f"{quoted(text)} is neither the name of a driver nor of a file")
    return text


def read_probe(text: str) -> int:
    """`1` or `10`."""
    if text not in ("1", "10"):
        raise WrongTextError(f"{quoted(text)} is no attenuation of a probe; write 1 or 10")
    return int(text)


class Instrument(Section):
    """One instrument of the bench."""

    address: Annotated[str, Written(read_address)]
    """VISA address."""
    driver: Annotated[str, Written(read_driver)]
    """Name of a shipped driver, or a file beside the bench file."""
    serial_line: Annotated[SerialLine, Written(read_serial_line)] | None = None
    """Speed and frame of its serial line; where nothing is said, 9600 8N1."""
    ends: LineEnds | None = None
    """Line ends, where they are set otherwise on this instrument than its driver file says."""
    calibrated: Day | None = None
    """Date of the last calibration; without one, readings say so."""
    serial: Name | None = None
    """Serial number in its identity, to be sure that this very instrument answers."""
    probe: Annotated[int, Written(read_probe, {"enum": [1, 10, "1", "10"]})] | None = None
    """What a scope's probes, or the dividers at the fixture's pins, divide by: 1 or 10."""


class Feed(Section):
    """Which output feeds a rail, and the most it may ever do. A board file can only lower it."""

    supply: Name
    """The instrument; or `by hand`: a supply without remote control, set and switched by a person who is asked to."""
    output: Annotated[int, whole(1, 16)] | None = None
    """Number of its output; a supply worked by hand has none."""
    display: Amps = Quantity(0.01, "A")
    """Smallest step of the ammeter of a supply worked by hand: what a person reads there is known no better."""
    volts: VoltSpan
    """Cap of the set voltage: `at most 5.5 V`; `at least -5.5 V` where the output is wired to give a negative rail."""
    amps: AmpSpan
    """Cap of the current limit: `at most 2 A`."""
    leads: Ohms
    """Both leads with their contacts, from supply to board."""
    when_off: Literal["isolated", "connected"]
    """isolated: a relay opens when off; connected: the output stays across the rail, so ohms read it too."""
    instead_of: Name | None = None
    """The rail that the same output feeds on other boards, where one plug serves both."""
    compensate_leads: YesNo = False
    """Raise the output by the drop that was measured, so that the board gets its nominal."""
    accept: Annotated[tuple[Lack, ...], Listed()] = ()
    """What is known to be missing and taken on: `no guard`, `no trip`, `no read-back`."""

    @property
    def by_hand(self) -> bool:
        """Whether a person sets and switches it."""
        return self.supply == BY_HAND

    @property
    def negative(self) -> bool:
        """Whether the output is wired to give a negative rail."""
        return most_from_ground(self.volts, negative=True) is not None

    @property
    def most_volts(self) -> float:
        """Cap of the set voltage, in volts from ground whichever the sign."""
        return most_from_ground(self.volts, self.negative) or 0.0

    @property
    def most_amps(self) -> float:
        """Cap of the current limit, in amps."""
        return self.amps.high or 0.0

    def check(self) -> Iterator[Complaint]:
        if most_from_ground(self.volts, False) is None and most_from_ground(self.volts, True) is None:
            such = "'at most 5.5 V' ('at least -5.5 V' if negative)"
            text = f"must say the most this output may ever give, such as {such}"
            yield Complaint(("volts",), text)
        if self.by_hand and self.compensate_leads:
            yield Complaint(("compensate leads",), "nobody turns a knob while the board is live: delete it")
        if self.by_hand and self.output is not None:
            yield Complaint(("output",), "a supply worked by hand has no number of an output: delete it", at_key=True)
        if not self.by_hand and self.output is None:
            yield Complaint(("supply",), "needs 'output' with the number of its output", at_key=True)
        if self.amps.high is None or self.amps.high <= 0:
            yield Complaint(("amps",), "must say the most this output may ever give, such as 'at most 2 A'")


class Routes(Section):
    """The relays between instrument inputs and board points."""

    relays: Name
    """The relay instrument."""
    slots: Annotated[dict[Name, Annotated[int, whole(1, 99)]], Field(min_length=1)]
    """Instrument input (`meter high`) to the slot its relays sit in."""
    path: Ohms
    """Resistance of one closed path, plug to pogo pin."""
    settle: Seconds
    """From closing a relay until a reading may begin."""

    def channel(self, instrument_input: str, position: int) -> int:
        """The relay channel that joins `instrument_input` (`meter high`) to a board position; `KeyError` if no slot."""
        return POSITIONS_A_SLOT * self.slots[instrument_input] + position

    def check(self) -> Iterator[Complaint]:
        seen: dict[int, str] = {}
        for name, slot in self.slots.items():
            if slot in seen:
                yield Complaint(("slots", name), f"slot {slot} already belongs to '{seen[slot]}'")
            seen.setdefault(slot, name)


class HandProbe(Section):
    """The tips that a person holds to the board where no relay leads; they may share an input with relays, which are
    all open while a tip is held."""

    tips: Annotated[tuple[Name, ...], Listed(), Field(min_length=1)]
    """The meter by its name, for its two tips; scope channels with a probe that a hand holds or clips: `scope 1`."""
    steady: Seconds = Quantity(0.3, "s")
    """How long a reading must have stood before it is taken."""

    def check(self) -> Iterator[Complaint]:
        for number, tip in enumerate(self.tips):
            if tip in self.tips[:number]:
                yield Complaint(("tips",), f"names '{tip}' twice")


class Bench(Section):
    """One bench."""

    bench: Name
    """Name of the bench."""
    words: Words
    """What it is, in a line."""
    simulated: Literal["in-process", "served", "no"]
    """in-process: instruments simulated inside the program; served: simulated behind loopback ports; no: real."""
    wiring: Name = "fixture"
    """In-process only: which of the simulator's own wirings this bench is, such as `fixture` or `hand`."""
    line_frequency: Hertz
    """Mains frequency, which meters average over: 50 Hz or 60 Hz."""
    instruments: Annotated[dict[Name, Instrument], Field(min_length=1)]
    """What stands on the bench, by the name used below."""
    feeds: dict[Name, Feed] = Field(default_factory=dict)
    """Rail to the output that feeds it."""
    routes: Routes | None = None
    """The relays, where there are any."""
    hand_probe: HandProbe | None = None
    """Tips for the hand of a person, where there are any: points that no relay leads to are asked for."""
    fixtures: dict[Name, dict[Point, Annotated[int, whole(1, 99)]]] = Field(default_factory=dict)
    """Board type to its pogo plate: point to position."""
    terminated: dict[Name, dict[Point, Ohms]] = Field(default_factory=dict)
    """Board type to the points its fixture puts a load on, such as a video output's 75 ohm."""

    reference_plug: ReferencePlug | None = None
    """What the bench is proved with, where there is one."""
    dummy_loads: dict[Name, Ohms] = Field(default_factory=dict)
    """Rail to the resistor that a supply for it is tested on, before it meets a board."""

    def position(self, board: str, point: str) -> int | None:
        """The fixture position that touches `point` of `board`, or `None` where a hand must."""
        return self.fixtures.get(board, {}).get(point)

    def channel(self, board: str, point: str, instrument_input: str) -> int | None:
        """The relay channel that joins `instrument_input` (`meter high`) to `point`, or `None` where there is none."""
        position = self.position(board, point)
        if position is None or self.routes is None or instrument_input not in self.routes.slots:
            return None
        return self.routes.channel(instrument_input, position)

    def load(self, board: str, point: str) -> float | None:
        """Ohms that the fixture of `board` puts on `point`, or `None` for none."""
        load = self.terminated.get(board, {}).get(point)
        return None if load is None else load.value

    def check(self) -> Iterator[Complaint]:
        if self.line_frequency.value not in (50.0, 60.0):
            yield Complaint(("line frequency",), f"{self.line_frequency} is no mains frequency; write 50 Hz or 60 Hz")
        yield from self.check_addresses()
        yield from self.check_feeds()
        yield from self.check_routes()
        yield from self.check_tips()

    def hand_channels(self, scope: str | None) -> tuple[int, ...]:
        """Channels of `scope` whose probes a hand holds."""
        tips = self.hand_probe.tips if self.hand_probe is not None else ()
        found = (TIP.fullmatch(tip) for tip in tips)
        return tuple(int(tip[2]) for tip in found if tip is not None and tip[1] == scope)

    def hand_meter(self, meter: str | None) -> bool:
        """Whether a hand holds the tips of `meter`."""
        return self.hand_probe is not None and meter in self.hand_probe.tips

    def check_tips(self) -> Iterator[Complaint]:
        for tip in self.hand_probe.tips if self.hand_probe is not None else ():
            channel = TIP.fullmatch(tip)
            name = channel[1] if channel is not None and tip not in self.instruments else tip
            if name not in self.instruments:
                yield Complaint(("hand probe", "tips"), self.unknown_instrument(name))

    def check_addresses(self) -> Iterator[Complaint]:
        seen: dict[str, str] = {}
        for name, instrument in self.instruments.items():
            route = ("instruments", name, "address")
            address = instrument.address.upper()
            if address in seen:
                yield Complaint(route, f"{instrument.address} is already the address of '{seen[address]}'")
            seen.setdefault(address, name)
            if instrument.serial_line is not None and not address.startswith("ASRL"):
                text = f"{instrument.address} is no serial line: delete it"
                yield Complaint(("instruments", name, "serial line"), text, at_key=True)
            if self.simulated == "served" and not LOOPBACK.fullmatch(instrument.address):
                text = f"{instrument.address} is not a port of this machine; only those serve a simulated bench"
                yield Complaint(route, text)

    def check_feeds(self) -> Iterator[Complaint]:
        seen: dict[tuple[str, int], str] = {}
        for rail, feed in self.feeds.items():
            if feed.by_hand:
                continue
            if feed.supply not in self.instruments:
                yield Complaint(("feeds", rail, "supply"), self.unknown_instrument(feed.supply))
                continue
            output = (feed.supply, feed.output or 0)
            if output in seen and feed.instead_of != seen[output]:
                text = f"output {feed.output} of '{feed.supply}' already feeds {seen[output]}"
                yield Complaint(("feeds", rail, "output"), text)
            seen.setdefault(output, rail)

    def check_routes(self) -> Iterator[Complaint]:
        if self.routes is not None:
            if self.routes.relays not in self.instruments:
                yield Complaint(("routes", "relays"), self.unknown_instrument(self.routes.relays))
            for name in self.routes.slots:
                instrument, _, which = name.rpartition(" ")
                if instrument not in self.instruments:
                    yield Complaint(("routes", "slots", name), self.unknown_instrument(instrument or name), at_key=True)
                elif not INPUTS.fullmatch(which):
                    text = f"{quoted(which)} is not an input; write 'high', 'low' or a channel from 1 to 8"
                    yield Complaint(("routes", "slots", name), text, at_key=True)
        for rail in self.reference_plug.rails if self.reference_plug is not None else ():
            if rail not in self.feeds:
                text = f"{quoted(rail)} is not fed by this bench; {choice_text(rail, self.feeds)}"
                yield Complaint(("reference plug", "rails", rail), text, at_key=True)
        for board, positions in self.fixtures.items():
            if self.routes is None:
                yield Complaint(("fixtures", board), "needs the relays that lead to it, under 'routes'", at_key=True)
            seen: dict[int, str] = {}
            for point, position in positions.items():
                if position in seen:
                    text = f"position {position} already touches {seen[position]}"
                    yield Complaint(("fixtures", board, point), text)
                seen.setdefault(position, point)

        for board, loads in self.terminated.items():
            plate = self.fixtures.get(board, {})
            for point, load in loads.items():
                if point not in plate and self.hand_probe is None:
                    text = f"{point} is not a point of the fixture of {board}; {choice_text(point, plate)}"
                    yield Complaint(("terminated", board, point), text, at_key=True)
                elif load.value <= 0:
                    yield Complaint(("terminated", board, point), "a load of 0 ohm is a short")

    def unknown_instrument(self, name: str) -> str:
        """Words for an instrument that is not on this bench."""
        return f"{quoted(name)} is not an instrument of this bench; {choice_text(name, self.instruments)}"
