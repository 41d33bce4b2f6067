"""The parts of a board file: what each is, what it draws, and by which nets it hears and drives others.

A kind decides which keys a part may have (`autobench.documents.part_kinds`). A part knows nothing of the others; how
they hang together is `autobench.documents.wiring`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic_core import core_schema

from autobench.documents import fields
from autobench.documents.fields import Amps, Name, Words, Written, WrongTextError, YesNo
from autobench.documents.nets import NET, Level, Net, NetRange, Nets, Pins, spread
from autobench.documents.part_kinds import CPU_NETS, KINDS, CpuNets, How, PartKind
from autobench.documents.section import Complaint, Section
from autobench.documents.words import allowed_words, choice_text, quoted

DIVIDED = re.compile(r"/\s*([0-9]{1,6})")
PLAIN: tuple[How, ...] = ("power-on", "pattern", "sync", "line", "field", "picture", "composite")
ALWAYS = ""  # the choice under which a current stands that no option changes
NO_NETS = CpuNets((), (), (), ())


@dataclass(frozen=True)
class Made:
    """How an output comes about: `divide` by `divisor`, `follow` the net or part `source`, or a word of its own."""

    how: How
    divisor: int = 1
    source: str | None = None


def read_made(text: str) -> Made:
    """`/4`, `sync`, or the net or part that an output follows."""
    divided = DIVIDED.fullmatch(text)
    if divided is not None:
        if int(divided[1]) < 1:
            raise WrongTextError("nothing can be divided by 0")
        return Made("divide", int(divided[1]))
    plain = next((word for word in PLAIN if word == text), None)
    if plain is not None:
        return Made(plain)
    if not NET.fullmatch(text):
        such = allowed_words(PLAIN)
        raise WrongTextError(f"{quoted(text)} is no output; write '/4', the net or part it follows, or one of {such}")
    return Made("follow", source=text)


class Out(Section):
    """One output: a word (`/4`, `sync`, `power-on`, a net or part it follows), or what selects it."""

    made: Annotated[Made, Written(read_made)] | None = Field(None, alias="is")
    """How it comes about, where nothing selects it."""
    needs: dict[Net, Level] = Field(default_factory=dict)
    """Level of each net while it is selected (and then low)."""
    idle: Level = "high"
    """Its level while it is not."""

    @model_validator(mode="before")
    @classmethod
    def from_word(cls, data: Any) -> Any:
        """An output may be written as its word alone."""
        return {"is": data} if isinstance(data, str) else data

    @property
    def how(self) -> How:
        """The way it comes about, in one word."""
        return "decode" if self.made is None else self.made.how

    @property
    def divisor(self) -> int:
        """What the input's frequency is divided by; 1 where it is not."""
        return 1 if self.made is None else self.made.divisor

    @property
    def source(self) -> str | None:
        """The net or part it follows, if it does."""
        return None if self.made is None else self.made.source

    def check(self) -> Iterator[Complaint]:
        if (self.made is None) == (not self.needs):
            yield Complaint((), "takes a word such as '/4', or 'needs' with the nets that select it")


@dataclass(frozen=True)
class ByChoice:
    """Annotation of a mapping from choice to amount that may be written as one amount for every choice."""

    def widen(self, value: Any) -> Any:
        return {ALWAYS: value} if isinstance(value, str) else value

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_before_validator_function(self.widen, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [{"type": "string", "description": "an amount"}, handler(schema)]}


class Part(Section):
    """One part, or several that are alike (`U11..U18`)."""

    kind: PartKind
    """What it is."""
    words: Words | None = None
    """What it is, for people."""
    socket: YesNo = False
    """Whether it can be lifted out."""
    legs: Annotated[int, fields.whole(2, 64)] | None = None
    """Legs of a dual-in-line package: then a person is told the row and the place of a pin."""
    side: Literal["component side", "solder side"] = "component side"
    """The side of the board from which its pins are reached."""
    pins: dict[NetRange, Pins] = Field(default_factory=dict)
    """Net to the pins it is on; a range of nets has as many pins."""
    rail: Name | None = None
    """The rail it is fed from; its other end is 0V."""
    draws: Annotated[dict[str, Amps], ByChoice()] = Field(default_factory=dict)
    """Amps while it does its full work, or amps for each choice of one option."""
    cpu_class: Literal["R", "S", "E", "M", "3V"] | None = Field(None, alias="class")
    """Class of a CPU; one of class R or S has its usual nets (FETCH or SYNC, A0..A15, D0..D7 …) without their being
    listed."""
    feeds: fields.Part | None = None
    """The part a crystal makes swing."""
    clock: Net | None = None
    """The clock it runs on."""
    reset: Net | None = None
    """The line that holds it in reset."""
    select: Net | None = None
    """The line that must be low for it to answer."""
    enable: Net | None = None
    """A second line that must be low for it to drive its data."""
    ins: Nets = Field((), alias="in")
    """Other nets it listens to."""
    addr: Nets = ()
    """Address nets it listens to."""
    data: Nets = ()
    """Data nets it reads or drives."""
    bit: Nets = ()
    """Data net of a memory one bit wide; in a range of parts one net each, in order."""
    source: Nets = Field((), alias="from")
    """The nets a data buffer passes on to `data`."""
    needs: dict[Net, Literal["written"]] = Field(default_factory=dict)
    """What software must have done before it works: `{CRTCCS: written}`."""
    outs: dict[Net, Out] = Field(default_factory=dict)
    """The nets it drives, with how each comes about."""

    @property
    def cpu(self) -> CpuNets:
        """The nets of a CPU of its class; none for any other part."""
        return CPU_NETS.get(self.cpu_class or "", NO_NETS) if self.kind == "cpu" else NO_NETS

    @property
    def drives(self) -> tuple[str, ...]:
        """The nets it is there to drive."""
        data = self.data if self.kind in ("rom", "ram", "data buffer") else ()
        return unique(*self.outs, *self.cpu.outputs, *self.cpu.addresses, *data, *self.bit)

    @property
    def hears(self) -> tuple[str, ...]:
        """The nets it is there to listen to."""
        single = (net for net in (self.clock, self.reset, self.select, self.enable) if net)
        selecting = (net for out in self.outs.values() for net in out.needs)
        data = () if self.kind in ("rom", "ram", "data buffer") else self.data
        known = (*self.cpu.inputs, *self.cpu.data, *self.addr, *data, *self.source)
        return unique(*single, *self.ins, *selecting, *self.needs, *known)

    @property
    def pin_nets(self) -> tuple[tuple[str, str], ...]:
        """Every pin that is told of, as (pin, net)."""
        found: list[tuple[str, str]] = []
        for key, pins in self.pins.items():
            nets = spread(key)
            found += [(pin, nets[0]) for pin in pins] if len(nets) == 1 else zip(pins, nets, strict=False)
        return tuple(found)

    def check(self) -> Iterator[Complaint]:
        kind = KINDS[self.kind]
        given = [info.alias or name for name, info in type(self).model_fields.items() if getattr(self, name)]
        for key in given:
            if key not in kind.keys:
                yield Complaint(
                    (key,), f"a part of kind '{self.kind}' has no such key; {choice_text(key, kind.keys)}", True
                )
        lacking = [quoted(key) for key in kind.needs if key not in given]
        if lacking:
            yield Complaint(("kind",), f"a part of kind '{self.kind}' needs {' and '.join(lacking)} too")
        for net, out in self.outs.items():
            if kind.outs and out.how not in kind.outs:
                such = allowed_words(kind.outs)
                yield Complaint(("outs", net), f"'{out.how}' is no output of kind '{self.kind}'; it may {such}")
        if self.bit and self.data:
            yield Complaint(("bit",), "cannot stand beside 'data'", at_key=True)


def unique(*names: str) -> tuple[str, ...]:
    """The names in their order, each once."""
    return tuple(dict.fromkeys(names))


def each_part(rows: Mapping[str, Part]) -> dict[str, Part]:
    """Every part by its own name, ranges spread out; the first counts where a name comes twice."""
    parts: dict[str, Part] = {}
    for key, row in rows.items():
        names = spread(key)
        for number, name in enumerate(names):
            parts.setdefault(name, row if len(names) == 1 else dealt(row, number, len(names)))
    return parts


def dealt(row: Part, number: int, count: int) -> Part:
    """The part at `number` of a range of `count`: what is written for each of them is dealt out in order."""
    changed: dict[str, Any] = {}
    if len(row.bit) == count:
        changed["bit"] = (row.bit[number],)
    pins = {}
    for key, numbers in row.pins.items():
        nets = spread(key)
        pins[nets[number] if len(nets) == count and len(numbers) == 1 else key] = numbers
    return row.model_copy(update={**changed, "pins": pins})


def part_complaints(rows: Mapping[str, Part]) -> Iterator[Complaint]:
    """Names that come twice, and lists that do not fit the range of parts or pins they stand for."""
    owner: dict[str, str] = {}
    for key, row in rows.items():
        names = spread(key)
        for name in names:
            if name in owner:
                yield Complaint(("parts", key), f"{name} stands under '{owner[name]}' already", at_key=True)
            owner.setdefault(name, key)
        if row.bit and len(row.bit) != len(names):
            text = f"{len(row.bit)} nets for {len(names)} parts; write one for each"
            yield Complaint(("parts", key, "bit"), text)
        for nets, pins in row.pins.items():
            wide = len(spread(nets))
            if wide not in (1, len(pins)) and not (wide == len(names) and len(pins) == 1):
                yield Complaint(("parts", key, "pins", nets), f"{wide} nets and {len(pins)} pins; write one pin each")
