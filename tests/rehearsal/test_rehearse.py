"""`autobench rehearse`: wrong words, the whole on a small sequence, and the same whatever the number of processes."""

from __future__ import annotations

import json

import pytest

from autobench.__main__ import main
from autobench.rehearsal.document import rehearsal_document
from autobench.rehearsal.rehearse import RehearsalRequest, rehearse

SMALL = ("rehearse", "tarnbeck-8", "--sequence", "shorts-before-power", "--seeds", "1", "--good", "2", "--jobs", "1")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--seeds", "-1"), "--seeds"),
        (("--jobs", "0"), "--jobs"),
        (("--sequence", "basline"), "baseline"),
        (("--circuit", "nowhere.yaml"), "nowhere.yaml"),
    ],
)
def test_wrong_words_are_refused(words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, with what is wrong, and nothing is run."""
    assert main(["rehearse", "tarnbeck-8", *words]) == 2
    assert said in capsys.readouterr().err


def test_the_whole_on_a_small_sequence(capsys: pytest.CaptureFixture[str]) -> None:
    """Before power only shorts show: found, and exit code 0 although nearly everything else escapes."""
    assert main([*SMALL, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["good"] == {"runs": 2, "faulty": 0, "undecided": 0}
    shorts = [row for row in document["faults"] if row["fault"] == "decoupler-short"]
    assert [(row["runs"], row["detected"], row["first"]) for row in shorts] == [(1, 1, 1)]
    assert sum(row["detected"] for row in document["faults"]) < sum(row["runs"] for row in document["faults"]) / 4


@pytest.mark.long
def test_the_number_of_processes_changes_nothing() -> None:
    """Every figure is the same with one process and with two."""
    request = RehearsalRequest("tarnbeck-8", "shorts-before-power", seeds=2, good=3, pairs=4, jobs=1)
    alone = rehearse(request)
    shared = rehearse(RehearsalRequest(**{**request.__dict__, "jobs": 2}))
    assert rehearsal_document(alone) == rehearsal_document(shared)
    assert alone.outcomes == shared.outcomes
