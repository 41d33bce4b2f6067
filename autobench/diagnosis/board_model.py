"""The board as diagnosis sees it: parts, what feeds what, and what the round can read of it. Values only, no inference.

Everything here follows from the board file and the options fitted; nothing is measured and no fault is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from autobench.diagnosis.legs import pins_of, sides_of
from autobench.diagnosis.parts import NO_NETS, Output, Part
from autobench.documents.bus import Driver, drivers_of, neighbours
from autobench.documents.part_kinds import CpuNets
from autobench.quantity import Span

if TYPE_CHECKING:
    from autobench.documents import board as documents
    from autobench.documents import parts as part_sections
    from autobench.documents import rails as rail_sections


@dataclass(frozen=True)
class Place:
    """A place where a rail's volts are measured."""

    name: str
    point: str

    @cached_property
    def part(self) -> str:
        """The part whose pin it is."""
        return self.point.partition(".")[0]


@dataclass(frozen=True)
class Rail:
    """One rail: volts nominal, amps healthy (`None` where unknown), places from the inlet outward, the rail it is made
    from where the board makes it itself."""

    name: str
    nominal: float
    amps: Span | None
    places: tuple[Place, ...]
    drops: tuple[tuple[str, str], ...] = ()
    source: str | None = None


@dataclass(frozen=True)
class Clock:
    """One clock: its net, where it is read, Hz, and the clock it is an exact fraction of."""

    net: str
    point: str
    hertz: float
    of: str | None = None

    @cached_property
    def part(self) -> str:
        """The part whose pin it is read at."""
        return self.point.partition(".")[0]


@dataclass(frozen=True)
class Line:
    """One line the round looks at. `healthy` is `moving`, `low`, `high` or `any`; `rate` in Hz.

    `start`: judged by the pulses of the first milliseconds after the reset release; `levels`: whether the levels of a
    moving line are judged.
    """

    net: str
    point: str
    side: str
    healthy: str
    rate: Span | None = None
    start: bool = False
    stage: str = "cpu"
    levels: bool = False

    @cached_property
    def part(self) -> str:
        """The part whose pin it is read at."""
        return self.point.partition(".")[0]


@dataclass(frozen=True)
class Video:
    """Where the sync and the output are read. `field` is the line net itself where both come on one wire."""

    line_net: str
    line_point: str
    field_net: str
    field_point: str
    output_net: str | None = None
    output_point: str | None = None


@dataclass(frozen=True)
class BoardModel:
    """One board type with its options chosen.

    `pins` is the point of each leg (part, net) that the file tells of, `sides` a rail and the two points where it
    enters and leaves a contact.
    """

    name: str
    architecture: Mapping[str, str]
    parts: Mapping[str, Part]
    rails: Mapping[str, Rail]
    clocks: Mapping[str, Clock] = field(default_factory=dict)
    reset_net: str | None = None
    reset_point: str | None = None
    reset_active: str = "low"
    reset_holds: str | None = None
    video: Video | None = None
    lines: Mapping[str, Line] = field(default_factory=dict)
    ratios: tuple[tuple[str, str], ...] = ()
    pulled_up: frozenset[str] = frozenset()
    pins: Mapping[tuple[str, str], str] = field(default_factory=dict)
    sides: Mapping[str, tuple[str, tuple[str, str]]] = field(default_factory=dict)
    neighbours: tuple[tuple[str, str], ...] = ()
    bus_drivers: tuple[Driver, ...] = ()
    refresh: tuple[str, str] | None = None
    """The strobe that refreshes, and the line that tells whose it is."""

    @cached_property
    def cpu(self) -> Part | None:
        """The CPU."""
        return next((part for part in self.parts.values() if part.kind == "cpu"), None)

    @property
    def cpu_nets(self) -> CpuNets:
        """The pins of the CPU by its class."""
        return self.cpu.cpu if self.cpu is not None else NO_NETS

    @property
    def cpu_class(self) -> str:
        """The class of the CPU, R where the file says none."""
        return (self.cpu.cpu_class if self.cpu is not None else "") or "R"

    @cached_property
    def cpu_hertz(self) -> float | None:
        """Frequency of the CPU clock, where the board file says."""
        clock = self.clocks.get(self.cpu.clock or "") if self.cpu else None
        return clock.hertz if clock else None

    def made_from(self, rail: str) -> tuple[str, ...]:
        """The rails the board makes from `rail`."""
        return tuple(each.name for each in self.rails.values() if each.source == rail)

    @cached_property
    def nets(self) -> Mapping[str, tuple[str, ...]]:
        """Every net with the parts that have a leg on it."""
        found: dict[str, list[str]] = {}
        for part in self.parts.values():
            for net in part.legs:
                found.setdefault(net, []).append(part.name)
        return {net: tuple(parts) for net, parts in found.items()}

    @cached_property
    def drivers(self) -> Mapping[str, tuple[str, ...]]:
        """Every net with the parts that naturally drive it."""
        found: dict[str, list[str]] = {}
        for part in self.parts.values():
            for net in part.drives:
                found.setdefault(net, []).append(part.name)
        return {net: tuple(parts) for net, parts in found.items()}

    @cached_property
    def active(self) -> tuple[Part, ...]:
        """The parts that drive nets others listen to."""
        return tuple(part for part in self.parts.values() if part.outputs or part.kind == "cpu")

    @cached_property
    def shared(self) -> tuple[str, ...]:
        """The nets that more than one of the active parts drives."""
        active = {part.name for part in self.active}
        return tuple(net for net, parts in self.drivers.items() if sum(part in active for part in parts) > 1)

    @cached_property
    def roms(self) -> tuple[Part, ...]:
        """The parts the program comes from."""
        return tuple(part for part in self.parts.values() if part.kind == "rom")

    @cached_property
    def timing(self) -> Mapping[str, tuple[str, ...]]:
        """The nets that carry sync, line or field, by which of them."""
        found: dict[str, list[str]] = {"sync": [], "line": [], "field": []}
        for part in self.parts.values():
            for output in part.outputs:
                found.get(output.how, []).append(output.net)
        return {how: tuple(nets) for how, nets in found.items()}

    @cached_property
    def unread(self) -> tuple[tuple[str, str], ...]:
        """Part and net of every driver whose net the round does not read."""
        output = self.video.output_net if self.video is not None else None
        read = {*self.lines, *self.clocks, *([output] if output else [])}
        nets = [(net, parts) for net, parts in self.drivers.items() if net not in read and self.point_of(net) is None]
        return tuple((parts[0], net) for net, parts in nets)

    @cached_property
    def pictures(self) -> frozenset[str]:
        """The nets that carry picture without sync."""
        outputs = (output for part in self.parts.values() for output in part.outputs)
        return frozenset(output.net for output in outputs if output.how == "picture")

    @property
    def waits(self) -> bool:
        """Whether accesses may be stretched: then rates say little and only ratios stay exact."""
        return self.architecture.get("wait source", "none") != "none"

    @property
    def fixed_video(self) -> bool:
        """Whether the sync runs without any software."""
        return self.architecture.get("video timing", "fixed") == "fixed"

    @cached_property
    def own_refresh(self) -> bool:
        """Whether the line REFRESH is read at the CPU's own pin; read anywhere else it may be another part's work."""
        line = self.lines.get("REFRESH")
        return line is not None and self.cpu is not None and line.part == self.cpu.name

    def point_of(self, net: str) -> str | None:
        """Where `net` is read, if anywhere."""
        if net in self.lines:
            return self.lines[net].point
        if net in self.clocks:
            return self.clocks[net].point
        if net == self.reset_net:
            return self.reset_point
        video = self.video
        if video is None:
            return None
        return {video.line_net: video.line_point, video.field_net: video.field_point}.get(net)


def board_model(board: documents.Board, options: Mapping[str, str]) -> BoardModel:
    """The model of a board file with `options` fitted (defaults filled in); raises `UsageError` for unknown ones."""
    chosen = board.resolve_options(options)
    flags = {name: getattr(board.architecture, name) for name in type(board.architecture).model_fields}
    reset = board.reset
    return BoardModel(
        name=board.board,
        architecture={name.replace("_", " "): flag_words(value) for name, value in flags.items()},
        parts={name: part_of(name, part, board.part_amps(name, chosen)) for name, part in board.parts.items()},
        rails=rails_of(board, chosen),
        clocks={
            name: Clock(name, clock.point, board.nominal(name), clock.of.clock if clock.of is not None else None)
            for name, clock in board.clocks.items()
        },
        reset_net=reset.line if reset is not None else None,
        reset_point=reset.point if reset is not None else None,
        reset_active=reset.active if reset is not None else "low",
        reset_holds=reset.holds if reset is not None else None,
        video=video_of(board),
        lines={
            name: Line(
                name,
                line.point,
                line.side,
                line.state,
                line.rate,
                line.when == "start",
                line.stage,
                line.stage != "cpu" and line.state == "moving" and line.when is None and not line.floats,
            )
            for name, line in board.lines.items()
        },
        ratios=tuple((ratio.of, ratio.to) for ratio in board.ratios),
        pulled_up=frozenset(board.pulled_up),
        pins=pins_of(board),
        sides=dict(sides_of(board)),
        neighbours=neighbours(board.lines),
        bus_drivers=drivers_of(board.parts, board.lines),
        refresh=(board.refresh.strobe, board.refresh.line) if board.refresh is not None else None,
    )


def rails_of(board: documents.Board, options: Mapping[str, str]) -> dict[str, Rail]:
    """The rails of a board with resolved `options`, those the bench feeds first."""
    fed, made = board.fed(options), board.made(options)
    rails: dict[str, rail_sections.Rail | rail_sections.MadeRail] = {**fed, **made}
    return {
        name: Rail(
            name,
            rail.nominal.value,
            board.rail_current(name, options) if name in fed else None,
            tuple(Place(key, place.point) for key, place in rail.places.items()),
            tuple((drop.start, drop.end) for drop in rail.drops),
            made[name].source if name in made else None,
        )
        for name, rail in rails.items()
    }


def flag_words(value: object) -> str:
    """A flag of the architecture in the words of the file."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, tuple) else str(value)


def part_of(name: str, part: part_sections.Part, amps: float) -> Part:
    """One part of the board file."""
    outputs = tuple(
        Output(net, out.how, out.divisor, out.source, tuple(out.needs.items()), out.idle)
        for net, out in part.outs.items()
    )
    return Part(
        name=name,
        kind=part.kind,
        rail=part.rail,
        amps=amps,
        socket=part.socket,
        clock=part.clock,
        reset=part.reset,
        select=part.select or next(iter(part.needs), None),
        enable=part.enable,
        inputs=part.ins,
        outputs=outputs,
        data=(*part.data, *part.bit),
        addresses=part.addr,
        source=part.source,
        feeds=(part.feeds,) if part.feeds else (),
        words=part.words or part.kind,
        cpu_class=part.cpu_class or "",
    )


def video_of(board: documents.Board) -> Video | None:
    """Where the sync and the output are read; nothing for a board without sync."""
    if board.video is None or board.video.sync is None:
        return None
    line, field_source, output = board.video.sync.line_source, board.video.sync.field_source, board.video.output
    return Video(
        line.net,
        line.point,
        field_source.net,
        field_source.point,
        output.net if output is not None else None,
        output.point if output is not None else None,
    )
