"""What is said for and against a suspect: readings first, each once, in words that can be spoken."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from autobench.diagnosis.catalogue import catalogue
from autobench.diagnosis.diagnosis import diagnose
from autobench.diagnosis.ranking import Predictions
from autobench.diagnosis.words import MOST_AGAINST, MOST_FOR
from autobench.judgement.reading import Reading
from tests.diagnosis.reported_faults import FAULTS

Taken = Callable[..., list[Reading]]
ROUNDS = [("fixed-3", fault) for fault in FAULTS if fault != "video-controller-dead"]
ROUNDS += [("programmed-3", fault) for fault in FAULTS if fault != "video-chip-dead"]
FLAT = re.compile(r"([A-Z][A-Z0-9]* at [A-Z]+[0-9]+\.[0-9]+) is flat")


@pytest.mark.parametrize(("board", "fault"), ROUNDS)
def test_the_first_reason_opens_with_a_reading(
    board: str, fault: str, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """The first reason names a net of the round before it says what is wrong."""
    first = diagnose(predicted[board], taken(board, fault)).suspects[0]
    known = predicted[board].board
    nets = {*known.rails, *known.clocks, *known.lines, *known.nets}
    opening = re.split(r"[: ]", first.for_[0].removeprefix("no sync on ").removeprefix("no "))[0]
    assert opening in nets, first.for_[0]
    assert first.for_[0] != catalogue()[first.fault].broken


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("board", "fault"), ROUNDS)
def test_no_flat_line_is_a_reason_twice(
    board: str, fault: str, seed: int, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """A line that one reason quotes as flat is not quoted so by another, and there are few reasons."""
    for suspect in diagnose(predicted[board], taken(board, fault, seed)).suspects:
        assert len(suspect.for_) <= MOST_FOR
        assert len(suspect.against) <= MOST_AGAINST
        places = [place for text in suspect.for_ for place in FLAT.findall(text)]
        assert len(places) == len(set(places)), suspect.for_


def test_a_missing_sync_is_called_so(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Nobody says *line rate 0 Hz*."""
    for board, fault in (("fixed-3", "sync-output-dead"), ("fixed-3", "video-chip-dead"), ("programmed-3", "cpu-dead")):
        suspects = diagnose(predicted[board], taken(board, fault, 1)).suspects
        said = " ".join(words for each in suspects for words in each.for_)
        assert "no sync on" in said or "lost before VIDEO" in said
        assert " 0 Hz" not in said


def test_the_dead_strobe_in_one_breath(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """With the refresh alive the first reason gives the level, whom that clears, and what to do."""
    for seed in range(3):
        found = diagnose(predicted["fixed-3"], taken("fixed-3", "fetch-strobe-dead", seed))
        first = found.suspects[0].for_[0]
        assert re.match(r"FETCH at U1\.27 is flat at [\d.]+ m?V", first)
        assert "REFRESH at U1.28 runs at" in first
        assert "clock, reset, WAIT and BUSRQ are innocent" in first
        assert found.next_check is not None
        assert "FETCH leg" in found.next_check.what


def test_decoder_with_all_selects_at_once(taken: Taken, predicted: dict[str, Predictions]) -> None:
    """Selects that all stay low while the CPU works are the decoder's doing, and each is quoted."""
    found = diagnose(predicted["programmed-3"], taken("programmed-3", "decoder-dead", 2))
    first = found.suspects[0]
    assert (first.part, first.fault) == ("U6", "decoder-dead")
    for net in ("ROMCS at U3.20 is flat", "RAMCS at U6.14 is flat", "CRTCCS at U5.25 never pulsed", "MEMREQ at U1.19"):
        assert net in first.for_[0]
    assert "on the bus at once" in first.for_[0]


@pytest.mark.parametrize(("board", "fault"), ROUNDS)
def test_no_reading_speaks_for_and_against_a_suspect(
    board: str, fault: str, taken: Taken, predicted: dict[str, Predictions]
) -> None:
    """What does not fit is no reason for it, even where a healthy board would show it still less."""
    for suspect in diagnose(predicted[board], taken(board, fault, 2)).suspects:
        against = {text.removeprefix("does not fit: ") for text in suspect.against if text.startswith("does not fit")}
        for text in suspect.for_:
            assert not any(text.startswith(quoted) for quoted in against), (suspect.fault, text, against)
