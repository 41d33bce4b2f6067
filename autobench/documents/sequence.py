"""The sequence file: the ordered steps of a round, for any board. It knows no board, no bench and no instrument.

A step is a template: `for each: place` makes one step for every place of every rail, and `{rail}` in its name is
filled in by the planner.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import Discriminator, Field, Tag

from autobench.documents.conditions import Conditions, Repeat
from autobench.documents.fields import (
    LONGEST_NAME,
    Amps,
    Listed,
    Name,
    Seconds,
    Words,
    Written,
    WrongTextError,
    YesNo,
    read_name,
)
from autobench.documents.include import Include, Stage
from autobench.documents.lines import LineStage, Side
from autobench.documents.section import Complaint, Section
from autobench.documents.words import allowed_words, quoted
from autobench.errors import UsageError
from autobench.judgement.conformity import GUARD_BANDS, parse_rule
from autobench.judgement.verdict import DEFAULT_RULE

STAGES: tuple[str, ...] = get_args(Stage)
ForEach = Literal["rail", "place", "drop", "clock", "line", "ratio", "pair", "driver", "delay"]
Measure = Literal[
    "ohms", "current", "rail", "drop", "ripple", "clock", "reset", "sync", "picture", "line", "ratio", "likeness",
    "driving", "delay", "refresh", "plug", "plug ripple"
]  # fmt: skip

# What is filled in for each -> the placeholders its steps are told apart by, all of them needed in the name.
PLACEHOLDERS: dict[str | None, tuple[str, ...]] = {
    None: (),
    "rail": ("rail",),
    "place": ("rail", "place"),
    "drop": ("rail", "from", "to"),
    "clock": ("clock",),
    "line": ("line",),
    "ratio": ("of", "to"),
    "pair": ("of", "to"),
    "driver": ("part", "line"),
    "delay": ("from", "to"),
}
MEASURED_FOR: dict[str, str | None] = {
    "ohms": "rail",
    "current": "rail",
    "rail": "place",
    "drop": "drop",
    "ripple": "rail",
    "clock": "clock",
    "reset": None,
    "sync": None,
    "picture": None,
    "line": "line",
    "ratio": "ratio",
    "likeness": "pair",
    "driving": "driver",
    "delay": "delay",
    "refresh": None,
    "plug": "rail",
    "plug ripple": "rail",
}
AT_PLUG = ("plug", "plug ripple")  # a supply by itself, with its plug off the board
PATIENT = ("rail",)  # more readings make these more certain
# A board file says for each of them in which stage it is looked at.
BY_STAGE = ("line", "ratio", "likeness", "driving", "delay")
LINE_STAGES: tuple[str, ...] = get_args(LineStage)
POWERED_FOR: dict[str, str | None] = {"polarity": "rail", "injection": "rail", "on": None, "off": None}
KINDS = ("measure", "power", "ask", "wait")
# What nobody may be asked to do on a live board.
HANDS = re.compile(
    r"\b(lift|swap|re-?seat|replac|remov|insert|unplug|plug|pull|take out|put in|(de|un)?-?solder|bend|cut)\w*", re.I
)
BRACES = re.compile(r"\{([^{}]*)\}")
LONGEST_WAIT = 86_400.0  # s; a soak of one day
MOST_LIMITS = 8  # steps of the current limit


def read_template(text: str) -> str:
    """A step's name with placeholders: what is left without them must be a name."""
    bare = BRACES.sub("x", text)
    if "{" in bare or "}" in bare:
        raise WrongTextError(f"{quoted(text)} has a brace without its partner")
    if len(text) > 2 * LONGEST_NAME:
        raise WrongTextError(f"{quoted(text)} is too long for a name; at most {2 * LONGEST_NAME} characters")
    read_name(bare)
    return text


def read_rule(text: str) -> str:
    """A decision rule by its name, as `autobench.judgement.conformity` knows it."""
    try:
        return parse_rule(text).name
    except UsageError as error:
        raise WrongTextError(str(error)) from None


RuleName = Annotated[
    str, Written(read_rule, {"type": "string", "description": f"{', '.join(GUARD_BANDS)}, or such as '95 %'"})
]


class Step(Section):
    """One thing to do: exactly one of `measure`, `power`, `ask` and `wait`."""

    step: Annotated[str, Written(read_template)]
    """Name, with `{rail}`, `{place}`, `{clock}`, `{line}`, `{part}`, `{of}`, `{from}` and `{to}` filled in for each."""
    stage: Stage
    """The part of the round it belongs to."""
    measure: Measure | None = None
    """ohms: rail to ground, unpowered; current: of a rail; rail: volts at a place; drop: volts between two places;
    ripple: of a rail; clock: frequency, exact ratio, duty and levels; reset: captured from before power-on; sync:
    line and field rate and pulse width; picture: amplitudes and line rate at the output; line: state and mean rate;
    ratio: counts of two lines; likeness: of two neighbouring lines of a bus; driving: whether a part drives a line
    when it is told to; delay: from the fall of one line to that of another; refresh: rows refreshed a second; plug,
    plug ripple: volts and ripple of a supply worked by hand, at its plug, with the board not connected."""
    power: Literal["polarity", "injection", "on", "off"] | None = None
    """polarity: the one tiny on that shows the sign; injection: half a volt at most into a rail that is nearly shorted,
    with a reason somebody types, to follow the short; on: every rail in order; off: every rail in reverse, proved."""
    ask: Words | None = None
    """A question or instruction for the person at the bench."""
    hands: YesNo = False
    """With `ask`: hands go onto the board, to lift, swap or reseat something. It is asked once everything was switched
    off and measured off; power comes back with the next `power: on` only."""
    wait: Seconds | None = None
    """Time to let pass."""
    for_each: ForEach | None = None
    """What the step is repeated for; lines and ratios: those that the board file puts into this step's stage."""
    load: Literal["none", "dummy"] = "none"
    """At a plug: with nothing on it, or with the bench's dummy load for that rail."""
    side: Side | None = None
    """Lines of this side only, so that inputs can come before outputs."""
    rule: RuleName | None = None
    """How its readings are decided, where that differs from the sequence's rule. Levels of logic lines keep simple
    acceptance."""
    patience: Seconds | None = None
    """The longest time for which volts of a rail too near a limit to call are read again, more readings each time."""
    amps: Annotated[tuple[Amps, ...], Listed()] = ()
    """With `power: on` for a board nobody knows: current limits in steps, `0.3 A, 0.6 A, 1 A`. The next one is set
    where the supply limits, and never more than bench, board and driver allow."""
    only_if: Conditions = Field(default_factory=dict)
    """Verdicts of earlier steps for which it is taken: `{rails: within unusual}`. Else it is skipped and decides
    nothing. A stage or the name of an earlier step stands for its worst reading."""
    repeat: Repeat | None = None
    """Take it again until its readings are as wanted, with a time limit."""

    @property
    def kind(self) -> str:
        """`measure`, `power`, `ask` or `wait`."""
        return next(key for key in KINDS if getattr(self, key) is not None)

    def name(self, values: Mapping[str, str]) -> str:
        """The name with its placeholders filled in from `values`; raises `KeyError` where one is missing."""
        return BRACES.sub(lambda found: values[found.group(1)], self.step)

    def takes(self, stage: str, side: str | None = None) -> bool:
        """Whether what a board file puts into `stage` (and a line, on `side`) is for this step."""
        return self.stage == stage and self.side in (None, side)

    def check(self) -> Iterator[Complaint]:
        given = [key for key in KINDS if getattr(self, key) is not None]
        if len(given) != 1:
            found = f"has {' and '.join(given)}" if given else "has none of them"
            yield Complaint((), f"a step takes exactly one of {allowed_words(KINDS)}; this one {found}")
        yield from self.check_for_each()
        yield from self.check_placeholders()
        yield from self.check_selection()
        if self.rule is not None and self.measure is None:
            yield Complaint(("rule",), "belongs to a step that measures", at_key=True)
        if self.patience is not None and self.measure not in PATIENT:
            yield Complaint(("patience",), f"belongs to 'measure: {' or '.join(PATIENT)}'", at_key=True)
        if self.hands and self.ask is None:
            yield Complaint(("hands",), "belongs to a step that asks", at_key=True)
        if self.ask is not None and not self.hands and (wanted := HANDS.search(self.ask)) is not None:
            text = f"{quoted(wanted[0])} wants hands on the board: add 'hands: yes', to ask it with everything off"
            yield Complaint(("ask",), text)
        if self.wait is not None and self.wait.value > LONGEST_WAIT:
            yield Complaint(("wait",), f"{self.wait} is longer than a day")
        if self.repeat is not None and self.measure is None:
            yield Complaint(("repeat",), "belongs to a step that measures", at_key=True)
        if self.repeat is not None and self.measure == "reset":
            yield Complaint(("repeat",), "the reset comes once, with power-on", at_key=True)
        yield from self.check_amps()

    def check_amps(self) -> Iterator[Complaint]:
        """Limits that rise, on the step that switches on."""
        values = [amps.value for amps in self.amps]
        if values and self.power != "on":
            yield Complaint(("amps",), "belongs to 'power: on'", at_key=True)
        elif values and (values != sorted(set(values)) or values[0] <= 0):
            yield Complaint(("amps",), "limits rise from the first on, such as '0.3 A, 0.6 A, 1 A'")
        elif len(values) > MOST_LIMITS:
            yield Complaint(("amps",), f"{len(values)} limits are too many steps; at most {MOST_LIMITS}")

    def check_for_each(self) -> Iterator[Complaint]:
        """What is measured decides what it is repeated for."""
        wanted: str | None
        if self.measure is not None:
            word, wanted = f"measure: {self.measure}", MEASURED_FOR[self.measure]
        elif self.power is not None:
            word, wanted = f"power: {self.power}", POWERED_FOR[self.power]
        else:
            return
        if wanted is None and self.for_each is not None:
            once = "once" if self.power is None else "once, for all rails"
            yield Complaint(("for each",), f"'{word}' is done {once}; delete 'for each'")
        elif wanted != self.for_each:
            key = "for each" if self.for_each is not None else word.partition(":")[0]
            yield Complaint((key,), f"'{word}' needs 'for each: {wanted}'")

    def check_selection(self) -> Iterator[Complaint]:
        """Lines and ratios are looked at in the stage the board file gives them; only lines have a side."""
        if self.measure in BY_STAGE and self.stage not in LINE_STAGES:
            text = f"a board file puts no {self.measure} into this stage; allowed are {allowed_words(LINE_STAGES)}"
            yield Complaint(("stage",), text)
        if self.load != "none" and self.measure not in AT_PLUG:
            yield Complaint(("load",), "belongs to 'measure: plug' and 'measure: plug ripple'", at_key=True)
        if self.side is not None and self.measure != "line":
            yield Complaint(("side",), "belongs to 'measure: line'", at_key=True)

    def check_placeholders(self) -> Iterator[Complaint]:
        """Names must come out different for each, and nothing may stay unfilled."""
        allowed = PLACEHOLDERS[self.for_each]
        used = BRACES.findall(self.step)
        for word in dict.fromkeys(used):
            if word not in allowed:
                choice = allowed_words(f"{{{each}}}" for each in allowed)
                where = f"with 'for each: {self.for_each}'" if self.for_each else "without 'for each'"
                yield Complaint(("step",), f"unknown placeholder {quoted(f'{{{word}}}')}; allowed {where}: {choice}")
        missing = [f"{{{word}}}" for word in allowed if word not in used]
        if missing:
            text = f"needs {' and '.join(missing)} in its name, or its steps could not be told apart"
            yield Complaint(("step",), text)


def entry_of(data: Any) -> str:
    """Which of the two an entry of `steps` is."""
    return "an include" if isinstance(data, dict) and "include" in data else "a step"


Entry = Annotated[
    Annotated[Step, Tag("a step")] | Annotated[Include, Tag("an include")],
    Discriminator(entry_of),
]


class Sequence(Section):
    """The ordered steps of a round."""

    sequence: Name
    """Name of the sequence."""
    words: Words
    """What it is for, in a line."""
    rule: RuleName = DEFAULT_RULE
    """How readings are decided near a limit: a guard band by name, or the probability a verdict needs (95 %)."""
    steps: Annotated[tuple[Entry, ...], Field(min_length=1)]
    """The steps, in order; `include` puts those of another sequence at its place."""

    @property
    def own(self) -> tuple[tuple[int, Step], ...]:
        """The steps written here, with their numbers; all of them once includes are resolved."""
        return tuple((number, step) for number, step in enumerate(self.steps) if isinstance(step, Step))

    @property
    def alone(self) -> bool:
        """Whether it is about a supply by itself, with no board on the bench."""
        return any(step.measure in AT_PLUG for _, step in self.own)

    def check(self) -> Iterator[Complaint]:
        for number, step in self.own if self.alone else ():
            if step.power is not None or (step.measure is not None and step.measure not in AT_PLUG):
                text = (
                    "a supply is tested by itself, with its plug off the board: no step for a board may stand beside it"
                )
                yield Complaint(("steps", number, step.kind), text)
        seen: dict[str, list[tuple[int, Step]]] = {}
        for number, step in self.own:
            earlier = seen.setdefault(step.step, [])
            same = next((before for before, other in earlier if not apart(step, other)), None)
            if same is not None:
                yield Complaint(
                    ("steps", number, "step"), f"{quoted(step.step)} is already the name of item {same + 1}"
                )
            earlier.append((number, step))


def apart(step: Step, other: Step) -> bool:
    """Whether two steps of one name take different lines or ratios, so that what they make has different names."""
    if step.measure not in BY_STAGE or step.measure != other.measure:
        return False
    return step.stage != other.stage or (None not in (step.side, other.side) and step.side != other.side)
