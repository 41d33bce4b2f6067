"""The next check: worth its minutes, possible on the board as it is, and honest about what it tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.diagnosis.diagnosis import already_read, diagnose
from autobench.diagnosis.evidence import observations
from autobench.diagnosis.next_check import possible
from autobench.diagnosis.ranking import Predictions, rank
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def test_an_unread_line_that_decides_is_asked_for(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """With the select of the ROM unread, decoder and ROM stay alike, and the select, or a net behind it, comes next."""
    readings = [
        replace(each, verdict=Verdict.SKIPPED) if each.net in ("ROMCS", "RAMCS") else each
        for each in taken("fixed-3", "rom-not-driving")
    ]
    found = diagnose(predicted["fixed-3"], readings)
    assert not found.told_apart
    assert {"U3", "U6"} <= set(found.group)
    assert found.next_check is not None
    assert found.next_check.point in ("U3.20", "U6.14") or "ROMCS" in found.next_check.what
    assert found.next_check.minutes > 0


def test_what_was_read_is_not_asked_again(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Lines with a reading, conditional ones included, are no next check."""
    readings = taken("fixed-3", "master-clock-dead")
    read = already_read(predicted["fixed-3"], readings)
    ranking = rank(predicted["fixed-3"], observations(predicted["fixed-3"].board, readings))
    looks = [check.what for check in possible(ranking, frozenset(read)) if check.what.startswith("look at FETCH")]
    assert looks == []


def test_tables_of_checks_are_distributions(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Under every hypothesis the outcomes of a check sum to one."""
    ranking = rank(predicted["fixed-3"], observations(predicted["fixed-3"].board, taken("fixed-3", "cpu-dead")))
    checks = list(possible(ranking, frozenset()))
    assert len(checks) > 10
    for check in checks:
        assert check.outcomes.sum(axis=1) == pytest.approx(1.0)  # axiom of probability
        assert check.minutes > 0
        assert 0.0 <= check.risk < 1.0


def test_a_sure_leader_gets_its_repair(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Where the leader is as good as proved the next thing is its repair, in words."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "video-chip-dead"))
    assert found.told_apart
    assert found.next_check is not None
    assert found.next_check.what.startswith("U2: ")


def test_without_anything_to_tell_there_is_no_check(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A board whose readings speak of nothing that is modelled gets no check made up for it."""
    own = replace(taken("fixed-3")[0], step="my own", quantity="temperature", verdict=Verdict.OUTSIDE)
    assert diagnose(predicted["fixed-3"], [own]).next_check is None
