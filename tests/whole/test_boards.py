"""The whole round on the boards of the other classes: class S with a bridge, and three-rail memory both ways."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.events import Event, PowerChanged
from autobench.views.run_state import RunState

BOARDS = [("wexcombe-2", {}), ("orrin-tk", {"power": "converter"}), ("orrin-tk", {"power": "bench"})]
NAMED = [
    ("wexcombe-2", "video-chip-dead", "U2"),
    ("orrin-tk", "plus12-missing", "U22"),
    pytest.param("wexcombe-2", "cpu-dead", "U1", marks=pytest.mark.long),
    pytest.param("wexcombe-2", "decoder-dead", "U6", marks=pytest.mark.long),
    pytest.param("orrin-tk", "regulator-low", "VR1", marks=pytest.mark.long),
    pytest.param("orrin-tk", "reservoir-dry", "C1", marks=pytest.mark.long),
]
# What no electrical check of a bare board shows; the only faults that may stay undetected.


def check(folder: Path, board: str, seed: int, fault: str = "", options: dict[str, str] | None = None) -> RunState:
    """One round on one simulated board."""
    request = app.CheckRequest(
        board,
        records=str(folder / "records.sqlite"),
        unattended=True,
        options=options or {},
        simulation=app.Simulation(faults=(fault,) if fault else (), seed=seed),
    )
    return app.check(request)


def verdict(state: RunState) -> str:
    assert state.ended is not None
    return state.ended.verdict


def told(state: RunState) -> str:
    """What a failing test should show."""
    odd = [
        f"{r.step} {r.quantity} {r.in_words()} {r.verdict} {r.reason}" for r in state.readings if r.verdict != "within"
    ]
    return "\n".join([*odd, *(f"{s.part} {s.net} {s.fault} {s.probability:.2f}" for s in state.diagnosis.suspects)])


@pytest.mark.parametrize(("board", "options"), BOARDS)
def test_a_good_board_is_good(tmp_path: Path, board: str, options: dict[str, str]) -> None:
    """A healthy board passes the whole round, and nobody is suspected."""
    state = check(tmp_path, board, 0, options=options)
    assert verdict(state) == "good", told(state)
    assert state.diagnosis.suspects == ()


def test_the_bias_comes_first_and_goes_last(tmp_path: Path) -> None:
    """Three rails from the supply: -5 V, +5 V, +12 V on in this order, and off in reverse (common practice)."""
    moves: list[tuple[str, str]] = []

    def note(event: Event) -> None:
        if isinstance(event, PowerChanged) and event.state in ("on", "ending on"):
            moves.append((event.rail, event.state))

    request = app.CheckRequest(
        "orrin-tk",
        records=str(tmp_path / "records.sqlite"),
        unattended=True,
        only=("power",),
        options={"power": "bench"},
        simulation=app.Simulation(seed=3),
    )
    app.check(request, [note])
    first_on = list(dict.fromkeys(rail for rail, state in moves if state == "on"))
    last_on = max(number for number, (_, state) in enumerate(moves) if state == "on")
    off = list(dict.fromkeys(rail for rail, state in moves[last_on:] if state == "ending on"))
    assert first_on == ["-5V", "+5V", "+12V"]
    assert off == ["+12V", "+5V", "-5V"]


def test_what_needs_the_mains_rate_is_left_out(tmp_path: Path) -> None:
    """An AC inlet that is fed with direct current gives no tick: skipped with the reason, and the board still good."""
    state = check(tmp_path, "wexcombe-2", 1)
    tick = next(reading for reading in state.readings if reading.net == "TICK")
    assert tick.verdict == "skipped"
    assert "mains" in (tick.reason or "")
    assert verdict(state) == "good", told(state)


def test_a_negative_rail_is_probed_and_read_with_its_sign(tmp_path: Path) -> None:
    """The bias shows -0.3 V in the polarity probe and -5 V at the memory, and both are within."""
    state = check(tmp_path, "orrin-tk", 2, options={"power": "bench"})
    readings = {reading.step: reading for reading in state.readings}
    assert readings["polarity -5V"].value == pytest.approx(-0.3, abs=0.02)
    assert readings["rail -5V far"].value == pytest.approx(-5.0, abs=0.1)
    assert {readings[name].verdict for name in ("polarity -5V", "rail -5V far")} == {"within"}


@pytest.mark.parametrize(("board", "fault", "part"), NAMED)
def test_plain_faults_of_these_boards_are_named_first(tmp_path: Path, board: str, fault: str, part: str) -> None:
    """Faulty, and the first suspect is the part."""
    state = check(tmp_path, board, 0, fault)
    assert verdict(state) == "faulty", told(state)
    assert (state.diagnosis.suspects[0].part, state.diagnosis.suspects[0].fault) == (part, fault), told(state)


@pytest.mark.long
@pytest.mark.parametrize(("board", "options"), BOARDS)
def test_twenty_good_boards_are_never_faulty(tmp_path: Path, board: str, options: dict[str, str]) -> None:
    """Twenty healthy boards by seed: none is faulty, and hardly one undecided."""
    undecided = 0
    for seed in range(1000, 1020):
        state = check(tmp_path, board, seed, options=options)
        assert verdict(state) in ("good", "undecided"), f"seed {seed}: {told(state)}"
        undecided += verdict(state) == "undecided"
    assert undecided <= 1
