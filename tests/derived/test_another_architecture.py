"""A board built unlike the four that are shipped: class S, static memory, and a controller that its program sets up.

It tries round, circuit and diagnosis on what they were not written for. All of it is invented; the circuit is derived.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.rehearsal.rehearsed import rehearsed_round

BOARD = Path(__file__).parent / "hollin-3.yaml"
# What is broken, and whose part must be among the first three suspects after the round alone.
FOUND = {
    "inlet-open@J1": "J1",
    "master-clock-dead@X1": "X1",
    "reset-stuck@U7": "U7",
    "cpu-dead@U1": "U1",
    "rom-not-driving@U3": "U3",
    "divider-dead@U5": "U5",
    "decoder-dead@U6": "U6",
    "video-controller-dead@U10": "U10",
    "sync-output-dead@Q1": "Q1",
    "ram-dead@U11": "U11",
    "ram-dead@U12": "U12",
}


def test_its_file_has_no_mistakes(capsys: pytest.CaptureFixture[str]) -> None:
    """As a person would look."""
    assert main(["lint", str(BOARD)]) == 0
    assert "no mistakes" in capsys.readouterr().out


@pytest.mark.parametrize("seed", [1, *(pytest.param(one, marks=pytest.mark.long) for one in range(2, 12))])
def test_healthy_ones_are_good(seed: int) -> None:
    """Each specimen, with the controller written to within the time the file allows."""
    done = rehearsed_round("baseline", board=BOARD, seed=seed)
    assert (done.verdict, done.reason) == ("good", None)
    assert [one.verdict.value for one in done.steps["line CRTCCS"]] == ["within"]


@pytest.mark.parametrize("seed", [1, *(pytest.param(one, marks=pytest.mark.long) for one in range(2, 5))])
@pytest.mark.parametrize(
    "fault",
    ["video-controller-dead@U10", *(pytest.param(one, marks=pytest.mark.long) for one in FOUND if "U10" not in one)],
)
def test_a_fault_is_found_and_named(fault: str, seed: int) -> None:
    """`faulty`, and the part among the first three or in the stated group."""
    done = rehearsed_round("baseline", board=BOARD, fault=fault, seed=seed)
    assert done.verdict == "faulty"
    named = [suspect.part for suspect in done.suspects[:3]]
    assert FOUND[fault] in [*named, *done.group], (done.suspects, done.group)
