"""What a plan is made of: steps with everything resolved – instrument, route, range, limits – before anything moves.

Plain frozen data. Nothing here reads files or talks to instruments.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from autobench.judgement.verdict import DEFAULT_RULE
from autobench.plan.limits import Limits
from autobench.plan.scope_steps import ScopeJob, Sight, StartSight
from autobench.plan.spots import Spot
from autobench.plan.target import Target
from autobench.plan.terms import Again, Condition

if TYPE_CHECKING:
    from autobench.plan.relay_paths import RelayPath


@dataclass(frozen=True)
class Envelope:
    """The most one output may ever do: the least of bench, board and driver ratings. Volts, amps, volts."""

    volts: float
    amps: float
    trip: float


@dataclass(frozen=True)
class Feed:
    """One rail as the bench will feed it.

    Volts, amps, ohms and seconds. `volts`, `amps` and `trip` are what will be set; `top_volts` is the most the board
    may get, which lead compensation never passes; `current` the span this board with these options draws.
    """

    rail: str
    supply: str
    output: int
    envelope: Envelope
    nominal: float
    volts: float
    amps: float
    trip: float
    top_volts: float
    leads: float
    isolated_when_off: bool
    compensate: bool
    settle: float
    current: Limits
    inlet: Target | None
    by_hand: bool = False  # a supply without remote control: a person sets and switches it
    ladder: tuple[float, ...] = ()  # A; limits to go up by where the one before limits, the first is `amps`
    display: float = 0.0  # smallest step of such a supply's ammeter, A


@dataclass(frozen=True)
class OhmsJob:
    """Ohms of a rail to ground, power off; `path` is the route's own two-way resistance, ohms."""

    rail: str
    target: Target
    limits: Limits
    path: float


@dataclass(frozen=True)
class PolarityJob:
    """The one low-voltage ON that shows which way round the leads are. `not_fed`: the choices of options, as
    `power=bench`, with which the board has no such inlet."""

    rail: str
    not_fed: tuple[str, ...] = ()


@dataclass(frozen=True)
class InjectionJob:
    """A very low voltage into a rail that is nearly shorted, measured at `targets`, from the inlet outward."""

    rail: str
    targets: tuple[Target, ...]


@dataclass(frozen=True)
class PowerJob:
    """Switch every rail on (in order) or off (in reverse); `start` is captured from before the first ON."""

    on: bool
    start: StartSight | None = None


@dataclass(frozen=True)
class CurrentJob:
    """Current of a rail at the end of its settling time."""

    rail: str
    limits: Limits
    point: str | None


@dataclass(frozen=True)
class RailJob:
    """Volts of a rail at one place, between the supply pin and the ground pin of the same part."""

    rail: str
    place: str
    target: Target
    limits: Limits
    nominal: float
    fed_by: str  # the fed rail it hangs on: itself, or the one it is made from


@dataclass(frozen=True)
class DropJob:
    """Difference of two places of a rail, from the readings taken there."""

    rail: str
    start: str
    end: str
    point: str
    limits: Limits


@dataclass(frozen=True)
class PlugJob:
    """Volts at the plug of a supply worked by hand, off the board; on a dummy load of `load` ohms, or on none."""

    rail: str
    target: Target
    load: float | None
    limits: Limits


@dataclass(frozen=True)
class PlugRippleJob:
    """Ripple at that plug, peak to peak in 20 MHz."""

    rail: str
    sight: Sight
    point: str
    load: float | None
    limits: Limits


@dataclass(frozen=True)
class WaitJob:
    """Let time pass under the watch."""

    seconds: float


@dataclass(frozen=True)
class AskJob:
    """Ask the person at the bench something; with `hands` on the board only after everything was proved off."""

    words: str
    hands: bool = False


Job = (
    OhmsJob
    | PolarityJob
    | InjectionJob
    | PowerJob
    | CurrentJob
    | RailJob
    | DropJob
    | PlugJob
    | PlugRippleJob
    | WaitJob
    | AskJob
    | ScopeJob
)


@dataclass(frozen=True)
class PlannedStep:
    """One step of the round.

    `cannot` says why this bench cannot do it (then it is skipped with that reason). The board's verdict waits for the
    readings of a `required` step only. `rule` decides near a limit; a reading it cannot call is repeated for `patience`
    seconds at most. Without the conditions `only_if` it is skipped and decides nothing; `again` repeats it.
    """

    name: str
    stage: str
    job: Job
    words: str
    seconds: float
    cannot: str | None = None
    required: bool = True
    rule: str = DEFAULT_RULE
    patience: float = 0.0
    only_if: tuple[Condition, ...] = ()
    again: Again | None = None


@dataclass(frozen=True)
class Plan:
    """The whole round, in order."""

    board: str
    options: dict[str, str]
    sequence: str
    bench: str
    feeds: tuple[Feed, ...]
    steps: tuple[PlannedStep, ...]
    instruments: dict[str, str] = field(default_factory=dict)
    line_frequency: float = 50.0
    spots: dict[str, Spot] = field(default_factory=dict)
    paths: tuple[RelayPath, ...] = ()  # what is on the relays' slots
    alone: bool = False  # a supply by itself: there is no board whose rails could be proved off
    steady: float = 0.0  # s a reading must have stood before a hand's tip is believed; 0: no hand on this bench

    @property
    def needs_hand(self) -> bool:
        """Whether a person has to be there before anything can be switched on."""
        return any(feed.by_hand or (feed.inlet is not None and feed.inlet.by_hand) for feed in self.feeds)

    @property
    def rails(self) -> tuple[str, ...]:
        """The rails that are fed, in the order they are switched on."""
        return tuple(feed.rail for feed in self.feeds)

    @property
    def seconds(self) -> float:
        """Expected duration of the round, s."""
        return sum(step.seconds for step in self.steps)
