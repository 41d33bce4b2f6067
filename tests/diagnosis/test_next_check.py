"""The next check: worth its minutes, possible on the board as it is, and honest about what it tells."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.diagnosis.checks import possible
from autobench.diagnosis.diagnosis import already_read, diagnose
from autobench.diagnosis.evidence import observations
from autobench.diagnosis.means import BY_HAND
from autobench.diagnosis.next_check import leading, outcomes_of, repair_words
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
    read = frozenset(already_read(predicted["fixed-3"], readings))
    ranking = rank(predicted["fixed-3"], observations(predicted["fixed-3"].board, readings))
    looks = [
        check.what
        for check in possible(ranking, leading(ranking), read, BY_HAND)
        if check.what.startswith("look at FETCH")
    ]
    assert looks == []


def test_tables_of_checks_are_distributions(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Under every hypothesis the outcomes of a check sum to one."""
    ranking = rank(predicted["fixed-3"], observations(predicted["fixed-3"].board, taken("fixed-3", "cpu-dead")))
    checks = list(possible(ranking, leading(ranking), frozenset(), BY_HAND))
    assert len(checks) > 10
    for check in checks:
        table = outcomes_of(ranking, check)
        assert table.sum(axis=1) == pytest.approx(1.0)  # axiom of probability
        assert check.minutes > 0
        assert 0.0 <= check.risk < 1.0


def test_a_sure_leader_gets_its_repair(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Where the leader is as good as proved the next thing is its repair, in words."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "video-chip-dead"))
    assert found.told_apart
    assert found.next_check is not None
    assert found.next_check.what.startswith("U2: ")


def test_reasons_of_checks_are_plain_words(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A check says whom it tells from whom and what would be wrong with each, without a unit of doubt."""
    readings = [
        replace(each, verdict=Verdict.SKIPPED) if each.net in ("ROMCS", "RAMCS") else each
        for each in taken("fixed-3", "rom-not-driving")
    ]
    found = diagnose(predicted["fixed-3"], readings).next_check
    assert found is not None
    assert found.why.startswith("it tells ")
    assert "U3 (the ROM is selected and does not drive the data bus)" in found.why
    assert "U6 (the decoder gives no selects, or several at once)" in found.why
    assert not re.search(r"\bnat\b|entrop|doubt away", found.why)


@pytest.mark.parametrize(
    ("fault", "part"), [("fetch-strobe-dead", "U1"), ("cpu-dead", "U1"), ("rom-not-driving", "U3")]
)
def test_a_socketed_chip_is_reseated_then_swapped(
    fault: str, part: str, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """What sits in a socket costs a minute to reseat and a few to swap."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", fault)).next_check
    assert found is not None
    assert f"reseat the socketed {part}" in found.what
    assert "swap it" in found.what


def test_a_soldered_chip_is_replaced(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """What is soldered in is replaced, never reseated."""
    found = diagnose(predicted["fixed-3"], taken("fixed-3", "video-chip-dead")).next_check
    assert found is not None
    assert "replace it" in found.what
    assert "socket" not in found.what


def test_no_check_only_to_rule_out_the_unlikely(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Beside a leader to act on, a check has to tell it from something that may well be; else the repair comes next."""
    for board, fault in (("fixed-3", "data-line-short"), ("fixed-3", "divider-dead"), ("programmed-3", "divider-dead")):
        for seed in range(6):
            found = diagnose(predicted[board], taken(board, fault, seed))
            assert found.next_check is not None
            likely = [each for each in found.suspects if each.probability >= 0.05 * found.suspects[0].probability]
            names = {word for each in likely for word in (each.part, each.net) if word}
            assert found.next_check.what.partition(":")[0] in names or any(
                re.search(rf"\b{name}\b", found.next_check.why) for name in names
            )


def test_no_repair_leaves_a_gap_in_its_words(predicted: dict[str, Predictions]) -> None:
    """Every repair reads as a sentence for every candidate, whatever it takes from the board."""
    for found in predicted.values():
        for candidate in found.candidates[2:]:
            words = repair_words(found.board, candidate)
            assert words
            assert "{" not in words
            assert "  " not in words


def test_without_anything_to_tell_there_is_no_check(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """A board whose readings speak of nothing that is modelled gets no check made up for it."""
    own = replace(taken("fixed-3")[0], step="my own", quantity="temperature", verdict=Verdict.OUTSIDE)
    assert diagnose(predicted["fixed-3"], [own]).next_check is None
