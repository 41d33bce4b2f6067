"""Differently equipped benches: a whole round of two boards passes on each, and each is proved."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.documents.bench import Bench
from autobench.documents.gathered import read_bench_file
from autobench.documents.places import list_benches
from autobench.documents.reading import read
from autobench.judgement.verdict import Verdict
from tests.run.bystanders import Operator

BOARDS = ("tarnbeck-8", "pellin-600")
ALONE = ("network", "template-block", "counter-and-scope")  # no hand is needed
BY_HAND = ("hand", "small", "hand-supply")
OPEN = (Verdict.VOID, Verdict.SKIPPED, Verdict.MARGINAL)


@pytest.mark.parametrize("name", [name for name, _ in list_benches()])
def test_every_bench_that_ships_reads_with_its_drivers(name: str) -> None:
    """Its file says its own name, and its wiring is one of the simulator's."""
    bench, drivers = read_bench_file(name)
    assert bench.bench == name
    assert bench.simulated == "in-process"
    assert set(drivers) == set(bench.instruments)


def test_the_benches_are_equipped_differently() -> None:
    """No two of them have the same dialects and the same way to the points."""
    seen = set()
    for _, path in list_benches():
        bench = read(path, Bench)
        dialects = tuple(sorted(item.driver for item in bench.instruments.values()))
        seen.add((dialects, bench.routes is not None, any(feed.by_hand for feed in bench.feeds.values())))
    assert len(seen) == len(list_benches()) >= 5


@pytest.mark.parametrize("board", [BOARDS[0], pytest.param(BOARDS[1], marks=pytest.mark.long)])
@pytest.mark.parametrize(
    "bench", ["network", "counter-and-scope", pytest.param("template-block", marks=pytest.mark.long)]
)
def test_a_whole_round_passes_without_a_hand(bench: str, board: str, tmp_path: Path) -> None:
    """Another supply, another scope, other addresses: the same verdict."""
    request = app.CheckRequest(board, bench=bench, records=str(tmp_path / "r.sqlite"), unattended=True)
    state = app.check(request)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)


@pytest.mark.long
@pytest.mark.parametrize("board", BOARDS)
@pytest.mark.parametrize("bench", BY_HAND)
def test_a_whole_round_passes_by_hand(bench: str, board: str, tmp_path: Path) -> None:
    """A person holds the probes, and on one bench works the supply, whose ammeter this person reads to nobody."""
    operator = Operator()
    request = app.CheckRequest(board, bench=bench, records=str(tmp_path / "r.sqlite"))
    state = app.check(request, [operator.show], keys=operator)
    assert state.ended is not None
    unread = {reading.quantity for reading in state.readings if reading.required and reading.verdict in OPEN}
    assert unread == ({"current"} if bench == "hand-supply" else set())
    assert state.ended.verdict == ("undecided" if unread else "good")


@pytest.mark.long
@pytest.mark.parametrize("bench", [*ALONE, "small"])
def test_each_bench_is_proved(bench: str, tmp_path: Path) -> None:
    """Its reference plug is in: supplies, relays and scope are what the file says."""
    operator = Operator() if bench == "small" else None
    views = [operator.show] if operator is not None else []
    state = app.prove(bench, app.Simulation(), views, records=str(tmp_path / "r.sqlite"), keys=operator)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
