"""The whole round on both boards: good boards are never accused, every fault is found, plain ones are named first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import pytest

from autobench import app
from autobench.views.run_state import RunState

# The faults a round names at once; the part, as the schematic has it.
PLAIN = {
    "master-clock-dead": {"X1", "U4"},
    "divider-dead": {"U5"},
    "reset-stuck": {"U7"},
    "cpu-dead": {"U1"},
    "fetch-strobe-dead": {"U1"},
    "rom-not-driving": {"U3"},
    "video-chip-dead": {"U2"},
    "sync-output-dead": {"Q1"},
}
SEEDS = range(1, 6)
CIRCLE = {"rom-not-driving": "U3", "cpu-dead": "U1", "decoder-dead": "U6", "video-controller-dead": "U5"}


def one_of_each_kind(faults: Iterable[str], ordinary: Sequence[str]) -> list[object]:
    """Every fault on every seed; of the first seed the `ordinary` faults in the ordinary run, all else in the long."""
    return [
        pytest.param(fault, seed, marks=() if seed == SEEDS[0] and fault in ordinary else pytest.mark.long)
        for fault in faults
        for seed in SEEDS
    ]


def check(folder: Path, board: str, seed: int, *faults: str) -> RunState:
    """One round on one simulated board."""
    request = app.CheckRequest(
        board,
        records=str(folder / "records.sqlite"),
        unattended=True,
        simulation=app.Simulation(faults=faults, seed=seed),
    )
    return app.check(request)


def verdict(state: RunState) -> str:
    assert state.ended is not None
    return state.ended.verdict


def told(state: RunState) -> str:
    """What a failing test should show: the verdict's reason and every reading that is not within."""
    assert state.ended is not None
    odd = [
        f"{r.step} {r.quantity} {r.in_words()} {r.verdict} {r.reason}" for r in state.readings if r.verdict != "within"
    ]
    suspects = [f"{s.part} {s.net} {s.fault} {s.probability:.2f}" for s in state.diagnosis.suspects]
    return "\n".join([str(state.ended.reason), *odd, *suspects])


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
@pytest.mark.parametrize("seed", [0, pytest.param(1, marks=pytest.mark.long)])
def test_a_good_board_is_good(tmp_path: Path, board: str, seed: int) -> None:
    """A healthy board passes the whole round, and nobody is suspected."""
    state = check(tmp_path, board, seed)
    assert verdict(state) == "good", told(state)
    assert state.diagnosis.suspects == ()


@pytest.mark.long
@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
def test_twenty_good_boards_are_never_faulty(tmp_path: Path, board: str) -> None:
    """Twenty healthy boards by seed: none is faulty, and hardly one undecided."""
    undecided = 0
    for seed in range(20):
        state = check(tmp_path, board, 1000 + seed)
        assert verdict(state) in ("good", "undecided"), f"seed {1000 + seed}: {told(state)}"
        undecided += verdict(state) == "undecided"
    assert undecided <= 1


@pytest.mark.parametrize(("fault", "seed"), one_of_each_kind(PLAIN, ("fetch-strobe-dead",)))
def test_plain_faults_are_named_first(tmp_path: Path, fault: str, seed: int) -> None:
    """The first suspect of a plain fault is its part, on every one of five boards."""
    state = check(tmp_path, "tarnbeck-8", seed, fault)
    first = state.diagnosis.suspects[0]
    assert first.part in PLAIN[fault], told(state)
    assert first.fault == fault


@pytest.mark.parametrize(("fault", "seed"), one_of_each_kind(CIRCLE, ("video-controller-dead",)))
def test_the_circle_of_cpu_rom_decoder_and_video_controller_is_broken(tmp_path: Path, fault: str, seed: int) -> None:
    """On the board with the programmable controller the four are told apart, with the observation that did it."""
    state = check(tmp_path, "pellin-600", seed, fault)
    first = state.diagnosis.suspects[0]
    assert (first.part, first.fault) == (CIRCLE[fault], fault), told(state)
    assert state.diagnosis.told_apart
    assert any("FETCH" in words or "CRTCCS" in words or "ROMCS" in words for words in first.for_), first.for_


def test_a_dead_fetch_strobe_says_what_the_trade_says(tmp_path: Path) -> None:
    """Refresh runs, fetch is flat: clock, reset and wait are innocent; look at the level, swap the socketed CPU."""
    state = check(tmp_path, "tarnbeck-8", 1, "fetch-strobe-dead")
    first = state.diagnosis.suspects[0]
    words = " ".join(first.for_).lower()
    assert (first.part, first.fault) == ("U1", "fetch-strobe-dead")
    for word in ("fetch", "refresh", "clock", "reset", "wait"):
        assert word in words
    check_next = state.diagnosis.next_check
    assert check_next is not None
    assert "U1" in check_next.what


@pytest.mark.long
def test_without_its_cpu_clock_a_board_draws_markedly_less(tmp_path: Path) -> None:
    """A dead divider that stops the CPU clock shows in the supply current (common practice, no source)."""
    good, dead = check(tmp_path, "tarnbeck-8", 1), check(tmp_path, "tarnbeck-8", 1, "master-clock-dead")

    def amps(state: RunState) -> float:
        return next(r.value for r in state.readings if r.quantity == "current" and r.value is not None)

    assert amps(dead) < 0.9 * amps(good)


def test_a_16_4_1_clock_chain_is_recognised_from_samples(tmp_path: Path) -> None:
    """Master, CPU and character clock in exact 16 : 4 : 1 ratio, measured in one capture (common practice)."""
    state = check(tmp_path, "pellin-600", 2)
    ratios = {r.net: r for r in state.readings if r.quantity == "ratio" and r.stage == "clocks"}
    assert ratios["CPUCLK"].value == pytest.approx(1 / 4, rel=1e-4)
    assert ratios["CHARCLK"].value == pytest.approx(1 / 16, rel=1e-4)


@pytest.mark.parametrize("seed", [3, *(pytest.param(seed, marks=pytest.mark.long) for seed in (1, 2))])
def test_a_controller_never_programmed_shows_wrong_or_missing_sync(tmp_path: Path, seed: int) -> None:
    """With the ROM not driving, nobody programs the controller: its sync is missing or wrong (common practice)."""
    state = check(tmp_path, "pellin-600", seed, "rom-not-driving")
    rates = [r for r in state.readings if r.step == "sync" and r.quantity == "line rate"]
    assert rates
    assert all(r.verdict == "outside" for r in rates)


@pytest.mark.parametrize(("also", "expected"), [((), "outside"), (("probe-not-touching@U11.12",), "void")])
def test_a_held_low_that_no_meter_reaches_is_believed_where_the_tip_touches(
    tmp_path: Path, also: tuple[str, ...], expected: str
) -> None:
    """With nobody to hold the meter the scope's own input tells a driven low (MA3, by this seed) from the air."""
    request = app.CheckRequest(
        "tarnbeck-8",
        only=("line MA3",),
        records=str(tmp_path / "records.sqlite"),
        unattended=True,
        simulation=app.Simulation(faults=("address-buffer-bit@U9", *also), seed=1),
    )
    state = app.check(request)
    reading = next(each for each in state.readings if each.step == "line MA3")
    assert reading.verdict == expected, told(state)
