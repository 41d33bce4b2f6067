"""Whether a diagnosis named what was broken: the contract's rules (first, first three, ties, nets, groups)."""

from __future__ import annotations

import pytest

from autobench.events import TrueFault
from autobench.rehearsal.cases import Case
from autobench.rehearsal.outcome import NamedSuspect, Outcome
from autobench.rehearsal.scoring import grouped, rank

U3 = TrueFault("rom-not-driving", "U3")


def outcome(
    *suspects: tuple[str | None, str | None, str, float], group: tuple[str, ...] = (), verdict: str = "faulty"
) -> Outcome:
    """An outcome with suspects as (part, net, fault, probability)."""
    return Outcome(Case("board", 0), verdict, None, suspects=tuple(NamedSuspect(*one) for one in suspects), group=group)


def test_the_true_part_counts_whatever_fault_is_named_with_it() -> None:
    """The part is what a technician acts on."""
    assert rank(outcome(("U3", None, "rom-bits-lost", 0.9)), U3) == 1
    assert rank(outcome(("U1", None, "cpu-dead", 0.6), ("U3", None, "rom-bits-lost", 0.3)), U3) == 2
    assert rank(outcome(("U1", None, "cpu-dead", 0.6)), U3) is None


def test_ties_count_at_the_last_rank_of_them() -> None:
    """Two of one probability are both second."""
    tied = outcome(("U3", None, "rom-not-driving", 0.5), ("U1", None, "cpu-dead", 0.5))
    assert rank(tied, U3) == 2


@pytest.mark.parametrize(
    ("truth", "suspect", "first"),
    [
        (TrueFault("decoupler-short", "C5", ("+5V",)), (None, "+5V", "chip-supply-short"), True),
        (TrueFault("track-open", "U3", ("D4",)), ("U8", "D4", "gate-output-open"), True),
        (TrueFault("track-open", "U3", ("D4",)), ("U3", "D5", "socket-contact"), False),
        (TrueFault("interrupt-stuck", "INT", ("INT",)), (None, "INT", "interrupt-stuck"), True),
        (TrueFault("cracked-joint", "J1", ("+5V",)), ("J1", None, "cracked-joint"), True),
        (TrueFault("lines-bridged", "A4", ("A4", "A5")), (None, "A5", "lines-bridged"), True),
        (TrueFault("socket-contact", "U3", ("D4",)), ("U8", "D4", "gate-output-open"), False),
        (TrueFault("repair-damage", "U8", ("D2", "D3")), (None, "D3", "lines-bridged"), True),
    ],
)
def test_nets_count_for_shorts_joints_and_tracks(
    truth: TrueFault, suspect: tuple[str | None, str | None, str], first: bool
) -> None:
    """For everything else the part does; a mistake of an earlier repair may be either."""
    assert (rank(outcome((*suspect, 0.9)), truth) == 1) is first


def test_grouped_is_apart_from_first() -> None:
    """In the stated group of at most five, and not first."""
    some = [("U1", None, "cpu-dead", 0.4), ("U3", None, "rom-bits-lost", 0.3)]
    assert grouped(outcome(*some, group=("U1", "U3")), U3)
    assert not grouped(outcome(*some, group=("U1", "U8")), U3)
    assert not grouped(outcome(*some, group=("U1", "U3", "U4", "U5", "U6", "U7")), U3)
    assert not grouped(outcome(("U3", None, "rom-bits-lost", 0.4), group=("U3", "U1")), U3)


def test_nothing_is_first_on_a_board_that_was_not_called_faulty() -> None:
    """Detected comes before named."""
    assert rank(outcome(("U3", None, "rom-bits-lost", 0.9), verdict="stopped"), U3) is None
