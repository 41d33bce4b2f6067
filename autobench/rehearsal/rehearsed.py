"""One rehearsed round for whoever writes a sequence or tests one: what it said, ready to be asserted on.

It does the round and judges nothing of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from autobench import app
from autobench.diagnosis.result import NextCheck, Suspect
from autobench.events import TrueFault
from autobench.judgement.reading import Reading
from autobench.rehearsal.playing import Witness, prepared_of


@dataclass(frozen=True)
class RehearsedRound:
    """A round on the simulated bench.

    `verdict` is `good`, `faulty`, `undecided` or `stopped`, with its `reason`; `readings` all of them in their order;
    `suspects` the likeliest first; `truth` what the simulator says was broken; `notices` what the person at the bench
    was told.
    """

    verdict: str
    reason: str | None
    readings: tuple[Reading, ...]
    suspects: tuple[Suspect, ...]
    told_apart: bool
    group: tuple[str, ...]
    next_check: NextCheck | None
    notices: tuple[str, ...]
    truth: tuple[TrueFault, ...]
    seconds: float

    @property
    def steps(self) -> dict[str, tuple[Reading, ...]]:
        """The readings of every step that gave any, by its name."""
        found: dict[str, tuple[Reading, ...]] = {}
        for reading in self.readings:
            found[reading.step] = (*found.get(reading.step, ()), reading)
        return found

    def of_verdict(self, verdict: str) -> list[str]:
        """The steps with a reading of that verdict (`outside`, `void`, …), conditional ones left out."""
        named = (one.step for one in self.readings if one.verdict == verdict and not one.conditional)
        return list(dict.fromkeys(named))


def rehearsed_round(
    sequence: str | Path = "baseline",
    *,
    board: str | Path,
    fault: str | Sequence[str] = (),
    seed: int = 0,
    options: Mapping[str, str] | None = None,
    soldered: Mapping[str, str] | None = None,
    circuit: Path | None = None,
    only: Sequence[str] = (),
) -> RehearsedRound:
    """Do `sequence` on one simulated `board` (each a name or a file), with `fault` (`NAME` or `NAME@PART`, or several)
    done to board or bench; `seed` draws the specimen.

    Nobody is there, nothing is kept, and the same words give the same round. Raises `UsageError` and `FileError`.
    """
    request = app.CheckRequest(
        board=str(board),
        sequence=str(sequence),
        options=options or {},
        only=tuple(only),
        unattended=True,
        simulation=app.Simulation((fault,) if isinstance(fault, str) else tuple(fault), soldered or {}, circuit, seed),
    )
    witness = Witness()
    state = app.rehearsed(request, prepared_of(request), [witness])
    ended, found = state.ended, state.diagnosis
    assert ended is not None
    return RehearsedRound(
        verdict=ended.verdict,
        reason=ended.reason,
        readings=state.readings,
        suspects=found.suspects,
        told_apart=found.told_apart,
        group=found.group,
        next_check=found.next_check,
        notices=tuple(notice.words for notice in state.notices),
        truth=witness.truth,
        seconds=ended.seconds,
    )
