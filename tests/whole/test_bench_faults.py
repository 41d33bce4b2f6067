"""What is wrong with the bench is never held against the board: each bench fault ends without accusing it, and the
reason says what a technician has to look at (the catalogue of bench faults is common practice, no source)."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.documents import places
from autobench.documents.board import Board
from autobench.documents.reading import read
from autobench.views.run_state import RunState
from tests.run.bystanders import Operator, job

BOARDS = ("tarnbeck-8", "wexcombe-2", "pellin-600", "orrin-tk")
# Bench fault to words of which one must be in the reason.
WORDS = {
    "limit-too-low": ("limit knob",),
    "leads-reversed": ("the wrong way round",),
    "probe-factor-wrong": ("probe factor",),
    "long-ground-lead": ("ground lead",),
    "ground-clip-off": ("ground clip",),
    "probe-not-touching": ("touch",),
    "relay-stuck": ("touch", "stuck closed"),
    "timebase-too-slow": ("time scale stays",),
    "trigger-never": ("no trigger",),
    "coupling-left-ac": ("coupled",),
    "range-fixed-low": ("is the range right",),
    "integration-too-short": ("line cycles",),
    "protection-latched": ("has tripped",),
    "wrong-board-file": ("fits", "the board that was named"),
    "instrument-unplugged": ("plugged in",),
}
WITH_HAND = ("limit-too-low", "long-ground-lead", "ground-clip-off", "probe-factor-wrong", "probe-not-touching")


def check(folder: Path, board: str, fault: str, seed: int, options: dict[str, str] | None = None) -> RunState:
    """One round on a good board on a bench with one fault."""
    request = app.CheckRequest(
        board,
        options=options or {},
        records=str(folder / f"{board} {fault} {seed}.sqlite"),
        unattended=True,
        simulation=app.Simulation(faults=(fault,), seed=seed),
    )
    return app.check(request)


def wrong(state: RunState, fault: str) -> str | None:
    """What is wrong with how a round ended, None if nothing is."""
    assert state.ended is not None
    verdict, reason = state.ended.verdict, state.ended.reason or ""
    if verdict not in ("undecided", "stopped"):
        return f"{fault}: {verdict}: {reason}"
    if not any(words in reason for words in WORDS[fault.partition("@")[0]]):
        return f"{fault}: {verdict} for another reason: {reason}"
    return None


@pytest.mark.parametrize(
    ("board", "fault", "seed"),
    [
        ("tarnbeck-8", "limit-too-low", 1),
        ("tarnbeck-8", "relay-stuck@202", 3),
        ("tarnbeck-8", "integration-too-short", 3),
        ("tarnbeck-8", "wrong-board-file@wexcombe-2", 1),
        ("wexcombe-2", "ground-clip-off", 1),
        ("pellin-600", "long-ground-lead", 1),
    ],
)
def test_a_bench_fault_is_named_and_the_board_is_not_accused(tmp_path: Path, board: str, fault: str, seed: int) -> None:
    """The plainest cases, each of which would otherwise make a good board faulty."""
    assert wrong(check(tmp_path, board, fault, seed), fault) is None


@pytest.mark.long
@pytest.mark.parametrize("fault", WORDS)
@pytest.mark.parametrize("board", BOARDS)
def test_every_bench_fault(tmp_path: Path, board: str, fault: str) -> None:
    """Each bench fault on two good boards by seed: undecided or stopped, for the right reason."""
    found = [wrong(check(tmp_path, board, fault, seed), fault) for seed in range(1, 3)]
    assert [each for each in found if each is not None] == []


@pytest.mark.long
@pytest.mark.parametrize("board", BOARDS)
def test_the_tip_on_the_wrong_pin_is_counted(
    tmp_path: Path, board: str, record_property: pytest.RecordProperty
) -> None:
    """How often a good board is called faulty for a pin beside the one meant is reported, and never stops a run."""
    verdicts = [check(tmp_path, board, "wrong-pin", seed) for seed in range(1, 4)]
    ends = [state.ended.verdict for state in verdicts if state.ended is not None]
    record_property("faulty for a wrong pin", f"{board}: {ends.count('faulty')} of {len(ends)}")
    assert len(ends) == 3
    assert "stopped" not in ends


@pytest.mark.long
@pytest.mark.parametrize("board", BOARDS)
def test_bench_faults_under_every_option(tmp_path: Path, board: str) -> None:
    """The faults that were missed once, on a good board with each choice of each option."""
    options = read(places.find_board(board), Board).options
    chosen = [{name: choice} for name, option in options.items() for choice in option.choices] or [{}]
    found = [
        wrong(check(tmp_path, board, fault, 7, each), fault)
        for each in chosen
        for fault in ("limit-too-low", "long-ground-lead", "ground-clip-off")
    ]
    assert [each for each in found if each is not None] == []


@pytest.mark.exhaustive
@pytest.mark.parametrize("fault", WITH_HAND)
@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_by_hand_no_bench_fault_accuses_a_good_board(tmp_path: Path, board: str, fault: str) -> None:
    """With probes held by a person: never faulty; a tip that misses is asked for again, and the board may be good."""
    for seed in range(1, 4):
        folder = tmp_path / str(seed)
        folder.mkdir()
        state = job(folder, Operator(patience=3.0), board=board, faults=[fault], seed=seed)
        assert state.ended is not None
        assert state.ended.verdict != "faulty", state.ended.reason
        if fault != "probe-not-touching":
            assert wrong(state, fault) is None
