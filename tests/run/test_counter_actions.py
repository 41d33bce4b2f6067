"""Rates by the counter within a run: preferred while they fit what the scope shows, and never believed against it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from autobench import app
from autobench.documents.places import find_bench
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from simulated_instruments.bench import SimulatedBench

BENCH = "counter-and-scope"


def nothing(_bench: SimulatedBench) -> None:
    """Leaves the bench as it is."""


def clocks(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    *,
    faults: tuple[str, ...] = (),
    does: Callable[[SimulatedBench], None] = nothing,
) -> tuple[str, list[Reading], SimulatedBench]:
    """The clocks' part of a round, on a bench to which `does` something was done."""
    bench = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=faults, seed=3, wiring=BENCH)
    does(bench)
    monkeypatch.setattr(app, "open_simulation", lambda *_: bench)
    request = app.CheckRequest(
        "tarnbeck-8",
        bench=BENCH,
        records=str(tmp_path / "r.sqlite"),
        options={"video": "late"},
        only=("clocks",),
        unattended=True,
    )
    state = app.check(request)
    assert state.ended is not None
    return state.ended.verdict, [each for each in state.readings if each.quantity == "frequency"], bench


def test_a_counted_rate_is_ten_times_as_certain(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the simulator's own truth every rate is within its uncertainty, which is that of the counter's time base."""
    verdict, rates, bench = clocks(tmp_path, monkeypatch)
    assert verdict == "good"
    counter = bench.devices["counter"]
    for reading in rates:
        assert reading.value is not None
        assert reading.uncertainty == pytest.approx(reading.value * 1e-6 / 3**0.5, rel=0.01)  # computed: 1 ppm
        assert [name for name, _ in reading.budget] == ["time base", "resolution of the gate"]
        assert reading.reason is None
    master = bench.world.nets.activity.clocks.master / (1 + counter.time_error)  # type: ignore[attr-defined]
    assert rates[0].value == pytest.approx(master, rel=1e-8)


def test_a_counter_whose_probe_is_wrong_is_not_believed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its level is then a tenth of what was meant: nothing crosses it, the scope's rate counts, and both are said."""

    def switch(bench: SimulatedBench) -> None:
        bench.devices["counter"].divider = 1.0  # type: ignore[attr-defined]

    verdict, rates, _ = clocks(tmp_path, monkeypatch, does=switch)
    assert verdict == "good"
    for reading in rates:
        assert reading.reason == "by the scope, since counter waits for ever: nothing crosses its level"
        assert reading.uncertainty == pytest.approx((reading.value or 0.0) * 25e-6 / 3**0.5, rel=0.2)  # 25 ppm


def test_a_counter_that_counts_otherwise_is_not_believed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A time base that is off by a part in a hundred contradicts the scope, whose rate counts then."""

    def drift(bench: SimulatedBench) -> None:
        bench.devices["counter"].time_error = 1e-2  # type: ignore[attr-defined]

    verdict, rates, _ = clocks(tmp_path, monkeypatch, does=drift)
    assert verdict == "good"
    for reading in rates:
        assert "counts" in (reading.reason or "")
        assert "its level, its probe or its way is wrong" in (reading.reason or "")


def test_a_wrong_crystal_is_outside_by_the_counter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The counter is told nothing of what to expect, so that a rate far off is counted as it is."""
    verdict, rates, _ = clocks(tmp_path, monkeypatch, faults=("wrong-crystal",))
    assert verdict == "faulty"
    assert rates[0].verdict is Verdict.OUTSIDE
    assert [name for name, _ in rates[0].budget] == ["time base", "resolution of the gate"]


@pytest.mark.long
def test_a_dead_clock_is_dead_by_the_scope(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a line stands still is for the scope to say; the counter is not asked."""
    verdict, rates, bench = clocks(tmp_path, monkeypatch, faults=("master-clock-dead",))
    assert verdict == "faulty"
    assert rates[0].verdict is Verdict.OUTSIDE
    assert "no clock" in (rates[0].reason or "")
    assert bench.devices["counter"].latest is None  # type: ignore[attr-defined]


@pytest.mark.long
def test_a_counter_counts_beside_the_run_over_sockets(tmp_path: Path) -> None:
    """Served, with a thread for each instrument: the same rates, through relays that the scope wants as well."""
    text = find_bench(BENCH).read_text(encoding="utf-8").replace("simulated: in-process", "simulated: served")
    with SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=3, wiring=BENCH) as bench:
        for name, address in bench.serve_sockets().items():
            text = text.replace(bench.addresses[name], address)
        file = tmp_path / "served.yaml"
        file.write_text(text, encoding="utf-8")
        request = app.CheckRequest(
            "tarnbeck-8",
            bench=str(file),
            records=str(tmp_path / "r.sqlite"),
            options={"video": "late"},
            only=("clocks", "cpu"),
            unattended=True,
        )
        state = app.check(request, clock=bench.clock)
        assert not bench.truth().any_on
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
    rates = [each for each in state.readings if each.quantity == "frequency"]
    assert len(rates) == 3
    for reading in rates:
        assert [name for name, _ in reading.budget] == ["time base", "resolution of the gate"]
