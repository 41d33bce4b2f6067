"""Outcomes counted: the JSON document is the contract's, to the key, and the words say the same."""

from __future__ import annotations

from autobench.events import TrueFault
from autobench.rehearsal.cases import Case, FaultPlace
from autobench.rehearsal.document import rehearsal_document
from autobench.rehearsal.outcome import NamedSuspect, Outcome
from autobench.rehearsal.result import Rehearsal
from autobench.rehearsal.text import rehearsal_lines

CPU = FaultPlace("cpu-dead", "U1", None, "board", "")
JOINT = FaultPlace("cracked-joint", "J1", "+5V", "board", "")
SOAK = FaultPlace("ram-marginal", "U11", None, "board", "")
PIN = FaultPlace("wrong-pin", "U1.6", None, "bench", "")


def done(place: FaultPlace, verdict: str, *, seed: int = 0, asleep: bool = False, **more: object) -> Outcome:
    """One outcome of a fault."""
    truth = TrueFault(place.fault, place.part, (place.net,) if place.net else (), asleep)
    return Outcome(Case(place.kind, seed, (place,)), verdict, None, (truth,), **more)  # type: ignore[arg-type]


SUSPECTS = (NamedSuspect("U1", None, "cpu-dead", 0.7),)
WHOLE = Rehearsal(
    "tarnbeck-8",
    "baseline",
    (CPU, JOINT, SOAK, PIN),
    (
        Outcome(Case("good", 0), "good", None),
        Outcome(Case("good", 1), "undecided", None),
        done(CPU, "faulty", suspects=SUSPECTS),
        done(CPU, "good", seed=1, would_show=("D0: at 0.1 V instead of moving",)),
        done(JOINT, "faulty"),
        done(JOINT, "good", seed=1, asleep=True),
        done(SOAK, "good"),
        done(PIN, "undecided", void=("the reason",)),
        Outcome(Case("pair", 0, (CPU, JOINT)), "faulty", None, (TrueFault("cpu-dead", "U1"),), SUSPECTS),
    ),
)


def test_the_document_is_the_contract() -> None:
    """Every key and count of the design's `rehearse --json`."""
    document = rehearsal_document(WHOLE)
    assert list(document) == ["board", "runs", "good", "bench", "undetectable", "faults", "pairs"]
    assert (document["board"], document["runs"]) == ("tarnbeck-8", 9)
    assert document["good"] == {"runs": 2, "faulty": 0, "undecided": 1}
    assert document["bench"] == [{"fault": "wrong-pin", "runs": 1, "faulty": 0, "void": 1, "undecided": 1}]
    assert document["faults"][0] == {
        "fault": "cpu-dead", "part": "U1", "runs": 2, "detected": 1, "first": 1, "first_three": 1, "grouped": 0,
        "extra_checks": 0,
    }  # fmt: skip
    assert document["pairs"] == {"runs": 1, "detected": 1, "first": 1}


def test_only_what_cannot_show_is_undetectable() -> None:
    """A joint that sleeps, a memory that fails when warm, and what the board has no part for; never a dead CPU."""
    rows = {(row["fault"], row["part"]) for row in rehearsal_document(WHOLE)["undetectable"]}
    assert ("cracked-joint", "J1") in rows
    assert ("ram-marginal", "U11") in rows
    assert ("regulator-low", None) in rows
    assert not [row for row in rows if row[0] == "cpu-dead"]
    assert [outcome.case.seed for outcome in WHOLE.escaped] == [1]


def test_the_words_name_what_escaped_and_what_would_show_it() -> None:
    """The round can be done again by hand, and the step that is missing is named."""
    text = "\n".join(rehearsal_lines(WHOLE))
    assert "--fault cpu-dead@U1 --seed 1: good" in text
    assert "D0: at 0.1 V instead of moving" in text
    assert "undecided: --seed 1" in text


def test_a_derived_circuit_is_said_in_every_output() -> None:
    """Words and document alike."""
    derived = Rehearsal("mine", "baseline", (), (), "derived circuit: the round is tested")
    assert rehearsal_document(derived)["remark"] == derived.remark
    assert any("derived circuit" in line for line in rehearsal_lines(derived))
