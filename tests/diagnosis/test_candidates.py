"""Candidates and their knowledge: every fault at every place, shares spread, words to act on."""

from __future__ import annotations

import pytest

from autobench.diagnosis.alphabets import alphabets
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.candidates import candidates
from autobench.diagnosis.catalogue import NONE, SOMETHING_ELSE, catalogue
from autobench.diagnosis.fault_effects import RULES
from autobench.diagnosis.ranking import Predictions


def test_catalogue_and_effects_agree() -> None:
    """Every fault of the catalogue has an effect, and no effect stands without its fault."""
    assert set(catalogue()) == set(RULES)


def test_catalogue_is_complete_for_people() -> None:
    """Every fault has a share, words, a repair and its time, and somewhere to be."""
    for fault in catalogue().values():
        assert 0.0 < fault.share < 0.1
        assert fault.minutes > 0.0
        assert fault.broken
        assert fault.repair
        assert set(fault.at) <= {"kinds", "legs", "nets", "outputs"}
    assert sum(fault.share for fault in catalogue().values()) <= 1.0


@pytest.mark.parametrize("board", ["fixed-3", "programmed-3"])
def test_priors_are_a_distribution(board: str, models: dict[str, BoardModel]) -> None:
    """Priors sum to one, `none` and *something else* among them."""
    found = candidates(models[board])
    assert [each.fault for each in found[:2]] == [NONE, SOMETHING_ELSE]
    assert sum(each.prior for each in found) == pytest.approx(1.0)  # axiom of probability
    assert all(each.prior > 0 for each in found)


def test_a_contact_is_rarer_than_its_chip(models: dict[str, BoardModel]) -> None:
    """Contacts are commoner than dead CPUs in all, but each takes one leg: no single one outweighs the chip."""
    found = candidates(models["fixed-3"])
    contacts = [each for each in found if each.fault == "socket-contact" and each.part == "U1"]
    (dead,) = [each for each in found if each.fault == "cpu-dead"]
    assert len(contacts) > 30
    assert max(each.prior for each in contacts) < 0.1 * dead.prior


def test_the_wide_copper_of_a_supply_breaks_less_often(models: dict[str, BoardModel]) -> None:
    """A track to a supply pin has other ways round; a contact of a socket is one whatever it carries."""
    found = {(each.fault, each.part, each.net): each.prior for each in candidates(models["fixed-3"])}
    assert found["track-open", "U3", "+5V"] < found["track-open", "U3", "D3"]
    assert found["socket-contact", "U3", "+5V"] == pytest.approx(found["socket-contact", "U3", "D3"])


def test_places_follow_the_board(models: dict[str, BoardModel]) -> None:
    """Faults of parts that a board lacks are no candidates of it."""
    fixed = {each.fault for each in candidates(models["fixed-3"])}
    programmed = {each.fault for each in candidates(models["programmed-3"])}
    assert "video-controller-dead" not in fixed
    assert "video-chip-dead" not in programmed
    assert {"video-controller-dead", "divider-dead", "master-clock-dead"} <= programmed


def test_tables_are_distributions() -> None:
    """Every row of every confusion table sums to one and leaves nothing impossible."""
    for alphabet in alphabets().values():
        assert alphabet.table.sum(axis=1) == pytest.approx(1.0)  # axiom of probability
        assert alphabet.table.min() > 0.0


def test_predictions_cover_every_outcome(predicted: dict[str, Predictions]) -> None:
    """Each outcome has a token for each observable and an owner among the candidates."""
    for found in predicted.values():
        assert found.prior.sum() == pytest.approx(1.0)  # axiom of probability
        assert set(found.owner.tolist()) == set(range(len(found.candidates)))
        assert all(len(tokens) == len(found.prior) for tokens in found.tokens.values())
