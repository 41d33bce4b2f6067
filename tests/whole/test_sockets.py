"""The same round over raw TCP sockets on loopback: the same driver files, the same devices, other bytes' way."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from autobench import app
from autobench.clock import RealClock
from autobench.documents.places import find_bench
from autobench.judgement.reading import Reading
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench

FAULTS = ("connector-resistance", "decoupler-short")


def bench_file(served: SimulatedBench, folder: Path, transport: str = "sockets") -> Path:
    """The shipped bench file with the addresses of the served instruments."""
    text = find_bench("simulated").read_text(encoding="utf-8").replace("simulated: in-process", "simulated: served")
    serve = {"sockets": served.serve_sockets, "hislip": served.serve_hislip, "serial": served.serve_serial}
    for name, address in serve[transport]().items():
        text = text.replace(served.addresses[name], address)
    path = folder / "served.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def run(served: SimulatedBench, folder: Path, transport: str = "sockets", **options: str) -> RunState:
    request = app.CheckRequest(
        "tarnbeck-8",
        bench=str(bench_file(served, folder, transport)),
        records=str(folder / "records.sqlite"),
        options=options,
        unattended=True,
    )
    return app.check(request, clock=served.clock)


@pytest.mark.parametrize(
    "faults",
    [(), *(pytest.param((one,), marks=pytest.mark.long) for one in ("connector-resistance", "decoupler-short"))],
)
def test_the_round_over_sockets_gives_the_verdicts_of_the_in_process_one(
    tmp_path: Path, faults: tuple[str, ...]
) -> None:
    """Same board, same seed: every reading gets the same verdict over sockets as in this process."""
    served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=faults, seed=5)
    try:
        over_sockets = run(served, tmp_path, video="late")
        assert not served.truth().any_on
    finally:
        served.close()
    request = app.CheckRequest(
        "tarnbeck-8",
        records=str(tmp_path / "other.sqlite"),
        unattended=True,
        simulation=app.Simulation(faults=faults, seed=5),
    )
    in_process = app.check(request)
    assert over_sockets.ended is not None
    assert in_process.ended is not None
    assert over_sockets.ended.verdict == in_process.ended.verdict
    ours = [(reading.step, reading.verdict) for reading in over_sockets.readings]
    assert ours == [(reading.step, reading.verdict) for reading in in_process.readings]


def run_with_one_unplugged(instrument: str, folder: Path) -> tuple[RunState, bool]:
    """A round in which one instrument is unplugged while the board is on, and whether an output is on at its end."""
    served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=(), seed=0)

    def unplug(event: object) -> None:
        reading = getattr(event, "reading", None)
        if reading is not None and reading.step == "rail +5V cpu":
            served.unplug(instrument)

    try:
        request = app.CheckRequest(
            "tarnbeck-8", bench=str(bench_file(served, folder)), records=str(folder / "r.sqlite"), unattended=True
        )
        return app.check(request, [unplug], clock=served.clock), served.truth().any_on
    finally:
        served.close()


@pytest.mark.long
def test_an_instrument_that_dies_mid_run_stops_it_with_the_output_off(tmp_path: Path) -> None:
    """The meter is unplugged while the board is on: exit 4, the output is off by the simulator's truth."""
    state, still_on = run_with_one_unplugged("meter", tmp_path)
    assert not still_on
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert "meter" in (state.ended.reason or "")


@pytest.mark.long
def test_a_dead_supply_with_the_board_on_raises_the_alarm(tmp_path: Path) -> None:
    """The supply is unplugged from the bus while its output is on: stopped, and a person is told to switch it off."""
    state, still_on = run_with_one_unplugged("supply", tmp_path)
    assert still_on
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert "switch the supply off by hand" in (state.ended.reason or "")
    assert any(notice.urgent for notice in state.notices)


@pytest.mark.long
@pytest.mark.parametrize("transport", ["hislip", "serial"])
@pytest.mark.parametrize("faults", [(), ("fetch-strobe-dead",)])
def test_the_round_over_every_transport_gives_the_same_verdicts(
    tmp_path: Path, transport: str, faults: tuple[str, ...]
) -> None:
    """HiSLIP and serial lines carry a whole round, scope records included, as raw sockets do; off at the end."""
    outcomes = []
    for each in ("sockets", transport):
        folder = tmp_path / each
        folder.mkdir()
        with SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=faults, seed=5) as served:
            state = run(served, folder, each, video="late")
            assert not served.truth().any_on
        assert state.ended is not None
        outcomes.append((state.ended.verdict, [(reading.step, reading.verdict) for reading in state.readings]))
    assert outcomes[0] == outcomes[1]


@pytest.mark.long
@pytest.mark.parametrize("faults", [(), ("fetch-strobe-dead",)])
def test_the_same_seed_gives_the_same_digits_over_sockets(tmp_path: Path, faults: tuple[str, ...]) -> None:
    """In this process, or over sockets on a clock that jumps: every reading, verdict and suspect to the last digit."""
    served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, faults=faults, seed=5)
    try:
        over_sockets = run(served, tmp_path)
    finally:
        served.close()
    request = app.CheckRequest("tarnbeck-8", unattended=True, simulation=app.Simulation(faults=faults, seed=5))
    in_process = app.rehearsed(request, app.prepare(request))
    assert over_sockets.readings == in_process.readings
    assert over_sockets.diagnosis == in_process.diagnosis
    assert over_sockets.ended == in_process.ended


STEADY = ("power", "rails", "clocks", "reset", "video")


@pytest.mark.long
@pytest.mark.parametrize("faults", [(), ("fetch-strobe-dead",)])
def test_in_real_time_a_round_gives_the_verdicts_of_the_stepped_one(tmp_path: Path, faults: tuple[str, ...]) -> None:
    """By the clock on the wall, over sockets: the same readings with the same verdicts, values within k = 2 of both.

    What a program does at the moment it is looked at, and how far a meter has charged a board, is another matter each
    time: their values are not compared.
    """
    with SimulatedBench.open(
        "tarnbeck-8", options={"video": "late"}, faults=faults, seed=5, clock=RealClock()
    ) as served:
        real = run(served, tmp_path, video="late")
        assert not served.truth().any_on
    request = app.CheckRequest("tarnbeck-8", unattended=True, simulation=app.Simulation(faults=faults, seed=5))
    stepped = app.rehearsed(request, app.prepare(request))
    assert real.ended is not None
    assert stepped.ended is not None
    assert real.ended.verdict == stepped.ended.verdict
    assert verdicts(real) == verdicts(stepped)
    pairs = [pair for pair in zip(real.readings, stepped.readings, strict=True) if pair[0].stage in STEADY]
    apart = [(one.step, one.value, other.value, one.uncertainty) for one, other in pairs if differ(one, other)]
    # GUM 2008, 6.3.3: k = 2 covers about 95 %, so a few may lie beyond it by chance.
    assert len(apart) <= max(2, 0.05 * len(pairs)), apart


def verdicts(state: RunState) -> list[tuple[str, str, str]]:
    """Step, quantity and verdict of every reading."""
    return [(reading.step, reading.quantity, str(reading.verdict)) for reading in state.readings]


def differ(one: Reading, other: Reading) -> bool:
    """Whether two values lie further apart than twice their uncertainty together."""
    if one.value is None or other.value is None:
        return one.value is not other.value
    uncertainty = math.hypot(one.uncertainty or 0.0, other.uncertainty or 0.0)
    return not (one.value == other.value or abs(one.value - other.value) <= 2.0 * uncertainty)
