"""What a whole rehearsal came to: outcomes counted by fault and part. It counts; `scoring` decides what counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from autobench.rehearsal.cases import BENCH, BOARD, GOOD, PAIR, FaultPlace
from autobench.rehearsal.outcome import Outcome
from autobench.rehearsal.scoring import grouped, rank
from autobench.rehearsal.undetectable import LACKING, hidden, lacking


@dataclass(frozen=True)
class FaultRow:
    """Rounds with one fault at one part; `extra_checks` of all of them together."""

    fault: str
    part: str
    runs: int = 0
    detected: int = 0
    first: int = 0
    first_three: int = 0
    grouped: int = 0
    extra_checks: int = 0


@dataclass(frozen=True)
class BenchRow:
    """Rounds with one bench fault. `void` are those with a void reading, whatever their verdict; the other counts are
    verdicts."""

    fault: str
    runs: int = 0
    faulty: int = 0
    void: int = 0
    undecided: int = 0
    stopped: int = 0
    good: int = 0


@dataclass(frozen=True)
class Undetectable:
    """A fault of which nothing shows, and why; `part` None where the board lacks it."""

    fault: str
    part: str | None
    why: str


@dataclass(frozen=True)
class Rehearsal:
    """All outcomes of one board and sequence, in the order of their cases."""

    board: str
    sequence: str
    places: tuple[FaultPlace, ...]
    outcomes: tuple[Outcome, ...]
    remark: str | None = None  # what every output must say, such as that the circuit was derived
    minutes: dict[str, float] = field(default_factory=dict)  # by way of working

    def of(self, kind: str) -> list[Outcome]:
        """Outcomes of one kind of case."""
        return [outcome for outcome in self.outcomes if outcome.case.kind == kind]

    def count(self, kind: str, verdict: str) -> int:
        """Rounds of one kind with that verdict."""
        return sum(1 for outcome in self.of(kind) if outcome.verdict == verdict)

    @property
    def faults(self) -> list[FaultRow]:
        """One row for every fault and part that was rehearsed, in the catalogue's order."""
        by_place: dict[tuple[str, str], list[Outcome]] = {}
        for outcome in self.of(BOARD):
            place = outcome.case.places[0]
            by_place.setdefault((place.fault, place.part), []).append(outcome)
        return [
            fault_row(place.fault, place.part, by_place[place.fault, place.part])
            for place in self.places
            if (place.fault, place.part) in by_place
        ]

    @property
    def bench(self) -> list[BenchRow]:
        """One row for every bench fault."""
        by_name: dict[str, list[Outcome]] = {}
        for outcome in self.of(BENCH):
            by_name.setdefault(outcome.case.places[0].fault, []).append(outcome)
        return [bench_row(name, outcomes) for name, outcomes in by_name.items()]

    @property
    def undetectable(self) -> list[Undetectable]:
        """What was rehearsed and cannot show, then what this board has no part for."""
        found: dict[tuple[str, str | None], str] = {}
        for outcome in self.of(BOARD):
            for truth in outcome.truth:
                why = hidden(truth)
                if why is not None and not outcome.detected:
                    found.setdefault((truth.fault, truth.part), why)
        rows = [Undetectable(fault, part, why) for (fault, part), why in found.items()]
        return rows + [Undetectable(name, None, LACKING) for name in lacking(list(self.places))]

    @property
    def showing(self) -> list[Outcome]:
        """Rounds of a board fault that something shows of, so that it should be found."""
        return [outcome for outcome in self.of(BOARD) if not all(hidden(truth) for truth in outcome.truth)]

    @property
    def escaped(self) -> list[Outcome]:
        """Rounds of such a fault that did not call the board faulty."""
        return [outcome for outcome in self.showing if not outcome.detected]

    def pair_counts(self) -> tuple[int, int, int]:
        """Rounds with two faults; how many were detected; in how many one of the two was first."""
        pairs = self.of(PAIR)
        first = sum(1 for outcome in pairs if any(rank(outcome, truth) == 1 for truth in outcome.truth))
        return len(pairs), sum(1 for outcome in pairs if outcome.detected), first

    @property
    def good_counts(self) -> tuple[int, int, int]:
        """Rounds of good boards; how many ended faulty, how many undecided."""
        return len(self.of(GOOD)), self.count(GOOD, "faulty"), self.count(GOOD, "undecided")


def fault_row(fault: str, part: str, outcomes: Sequence[Outcome]) -> FaultRow:
    """The counts of one fault at one part."""
    ranks = [rank(outcome, outcome.truth[0]) if outcome.truth else None for outcome in outcomes]
    return FaultRow(
        fault,
        part,
        runs=len(outcomes),
        detected=sum(1 for outcome in outcomes if outcome.detected),
        first=sum(1 for found in ranks if found == 1),
        first_three=sum(1 for found in ranks if found is not None and found <= 3),
        grouped=sum(1 for outcome in outcomes if outcome.truth and grouped(outcome, outcome.truth[0])),
        extra_checks=sum(outcome.extra_checks for outcome in outcomes),
    )


def bench_row(fault: str, outcomes: Sequence[Outcome]) -> BenchRow:
    """The counts of one bench fault."""
    verdicts = [outcome.verdict for outcome in outcomes]
    return BenchRow(
        fault,
        runs=len(outcomes),
        faulty=verdicts.count("faulty"),
        void=sum(1 for outcome in outcomes if outcome.void),
        undecided=verdicts.count("undecided"),
        stopped=verdicts.count("stopped"),
        good=verdicts.count("good"),
    )
