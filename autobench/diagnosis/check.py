"""One check beyond the round, what it costs, and what makes it say nothing. It chooses and performs nothing."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.ranking import Ranking

# Minutes, and the chance that the check itself does harm (common practice).
BY_FIXTURE = (0.2, 0.0)
BY_HAND = (1.0, 0.01)
COMPARE = (1.5, 0.02)
ACROSS = (1.0, 0.01)
RESEAT = (2.0, 0.03)
OFF_AND_ON = 0.5  # min
FEEL = (1.5, 0.02)
SWAP = (5.0, 0.05)
LIFT = (8.0, 0.1)
AGAIN_BY_FIXTURE, AGAIN_BY_HAND = (0.6, 0.0), (2.0, 0.01)
COOL = (4.0, 0.06)  # with the time in which it dries; water between legs, a package that cracks
FIRST_OF_SCAN, EACH_OF_SCAN = 0.5, 0.35  # min, and share of the minutes of a look by itself
GATES = ("rails", "clocks", "reset")  # what fails here makes everything later say nothing


@dataclass(frozen=True)
class Check:
    """One thing that can be done; what it will show is read as its observables.

    `kind`: `look`, `scan` (several looks), `again`, `compare`, `across`, `between`, `reseat`, `swap`, `lift`, `cool`,
    `feel` or `ohms`; `part` and `net` say where, `other` a second point of a net, `legs` the nets and points of a scan,
    or two by two those of ohms between neighbours.
    """

    kind: str
    observables: tuple[Observable, ...]
    what: str
    point: str | None
    minutes: float
    risk: float
    part: str = ""
    net: str = ""
    other: str | None = None
    legs: tuple[tuple[str, str], ...] = ()

    @property
    def name(self) -> tuple[str, str]:
        """By which a check is known that was made."""
        first = self.observables[0]
        return (self.kind, first.name) if len(self.observables) > 1 else (first.kind, first.name)


def failed_gate(ranking: Ranking) -> str | None:
    """The first stage that failed of those without which nothing later counts."""
    return next((stage for stage in GATES if stage in ranking.accused_stages), None)


def stage_of(board: BoardModel, net: str) -> str:
    """The stage of a net, as far as it is a gate."""
    return "clocks" if net in board.clocks else "reset" if net == board.reset_net else "later"


def counts(ranking: Ranking, net: str) -> bool:
    """Whether a look at `net` says anything: not beyond a stage that failed."""
    gate = failed_gate(ranking)
    if gate is None:
        return True
    stage = stage_of(ranking.predictions.board, net)
    return stage in GATES and GATES.index(stage) <= GATES.index(gate)
