"""A counter is preferred for the rates of clocks; benches that lack something do what they can and say what is left."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from autobench import app
from autobench.cli.entry import run
from autobench.documents.driver_counts import CounterTrust, Counts
from autobench.documents.gathered import read_documents
from autobench.documents.places import find_bench
from autobench.judgement.verdict import Verdict
from autobench.plan.counting import Counting, gate_for
from autobench.plan.planner import Planner
from autobench.plan.scope_steps import ClockJob
from autobench.plan.steps import CurrentJob, RailJob
from autobench.quantity import Quantity, Span
from tests.drivers.meetings import driver_named

PERIODS = CounterTrust.model_construct(time_base=1e-6, resolution=Quantity(2e-9, "s"), one_count=False)
EVENTS = CounterTrust.model_construct(time_base=1e-6, resolution=None, one_count=True)
CLOCKS = ("CLK15", "PIXCLK", "CPUCLK")


def bench_without(folder: Path, *names: str, base: str = "counter-and-scope") -> Path:
    """A shipped bench without some of its instruments, and without the ways that lead to them."""
    text = find_bench(base).read_text(encoding="utf-8")
    for name in names:
        text = re.sub(rf"(?m)^  {name}:\n(    .*\n)+", "", text, count=1)
        text = re.sub(rf"(?m)^    {name} \d: \d+\n", "", text)
    file = folder / "corner.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def rows_of(bench: str) -> Mapping[str, tuple[str, str, str | None]]:
    """Instrument, range and why not, by step."""
    _, rows, _, _ = app.planned(app.CheckRequest("tarnbeck-8", bench=bench))
    return {row.step: (row.instrument, row.range, row.cannot) for row in rows}


def test_every_clock_is_counted_where_there_is_a_counter() -> None:
    """By its relay, at the level in the middle of what the family tells apart, for a tenth of a second."""
    read = read_documents("tarnbeck-8", "counter-and-scope", "baseline")
    plan = Planner(read.bench, read.drivers, read.board, {}).plan(read.sequence)
    jobs = {step.job.clock: step.job for step in plan.steps if isinstance(step.job, ClockJob)}
    assert set(jobs) == set(CLOCKS)
    for job in jobs.values():
        assert job.counted is not None
        assert job.counted.relay == 600 + (read.bench.position("tarnbeck-8", job.point) or 0)
        assert job.counted.level == pytest.approx(1.4)  # common practice for TTL: between 0.8 V and 2.0 V
        assert job.counted.gate == 0.1
        assert job.sight.points  # the scope shows the rest


def test_the_plan_says_what_is_counted() -> None:
    """Instrument, gate and level stand in the row of each clock."""
    for clock in CLOCKS:
        instrument, _, cannot = rows_of("counter-and-scope")[f"clock {clock}"]
        assert cannot is None
        assert instrument.startswith("frequency by counter, gate 100.0 ms at 1.40 V")
        assert instrument.endswith("the rest by scope")
        assert rows_of("simulated")[f"clock {clock}"][0] == "scope"


@pytest.mark.parametrize(
    ("trust", "limits", "gate"),
    [
        (PERIODS, Span(1e6 - 10, 1e6 + 10, "Hz"), 0.1),
        (EVENTS, Span(1e6 - 10, 1e6 + 10, "Hz"), 0.4),  # 10 Hz in 0.1 s
        (EVENTS, Span(1e6 - 1000, 1e6 + 1000, "Hz"), 0.1),
    ],
)
def test_the_gate_is_as_long_as_the_limits_ask(trust: CounterTrust, limits: Span, gate: float) -> None:
    """A counter of events is good to one of them a gate (computed: 1 / gate), one of periods to its resolution."""
    counts = driver_named("k-1").counts
    assert counts is not None
    assert gate_for(counts.model_copy(update={"trust": trust}), 1e6, limits) == gate


def test_what_a_counter_does_not_get_to_or_cannot_count_stays_with_the_scope() -> None:
    """No relay to the point, no slot for the counter, a rate beyond it: nothing is counted."""
    read = read_documents("tarnbeck-8", "counter-and-scope", "baseline")
    limits = Span(None, None, "Hz")
    counting = Counting(read.bench, read.board, read.drivers)
    assert counting.at("CPUCLK", "U1.6", "HCT", 3.75e6, limits) is not None
    assert counting.at("CPUCLK", "U9.9", "HCT", 3.75e6, limits) is None
    assert counting.at("CPUCLK", "U1.6", "HCT", 1e9, limits) is None
    assert counting.at("CPUCLK", "U1.6", "HCT", 1.0, limits) is None
    assert read.bench.routes is not None
    slots = {name: slot for name, slot in read.bench.routes.slots.items() if not name.startswith("counter")}
    bench = read.bench.model_copy(update={"routes": read.bench.routes.model_copy(update={"slots": slots})})
    assert Counting(bench, read.board, read.drivers).at("CPUCLK", "U1.6", "HCT", 3.75e6, limits) is None


def test_counts_say_how_finely_they_count() -> None:
    """By time or by events, one of the two."""
    for trust in (
        CounterTrust.model_construct(time_base=1e-6, resolution=None, one_count=False),
        CounterTrust.model_construct(time_base=1e-6, resolution=Quantity(2e-9, "s"), one_count=True),
    ):
        assert [complaint.text for complaint in trust.check()] == [
            "says how finely it counts by either 'resolution' or 'one count: yes'"
        ]
    wrong = Counts.model_construct(rates=Span(None, 1e6, "Hz"), gates=Span(1e-3, 1.0, "s"))
    assert [complaint.route for complaint in wrong.check()] == [("rates",)]


def test_a_bench_without_a_scope_counts_its_clocks_and_says_the_rest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The frequency is taken, duty and levels are left out; every step that only a scope shows is said with its
    reason, in the plan and by `lint` of nothing else."""
    bench = bench_without(tmp_path, "scope")
    rows = rows_of(str(bench))
    for clock in CLOCKS:
        assert rows[f"clock {clock}"][0] == "counter alone: duty and levels are left out without a scope"
        assert rows[f"clock {clock}"][2] is None
    for step in ("reset", "ripple +5V", "sync", "line FETCH", "refresh"):
        assert rows[step][2] == "this bench has no scope"
    assert rows["rail +5V far"][2] is None
    assert run(["plan", "tarnbeck-8", "--bench", str(bench)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "sync: this bench has no scope (the board stays undecided)" in said
    assert "of them cannot be done here" in said


def test_a_round_without_a_scope_takes_what_it_can(tmp_path: Path) -> None:
    """Rails and rates are read and within; what was not seen leaves the board undecided, and accuses nobody."""
    bench = bench_without(tmp_path, "scope")
    request = app.CheckRequest("tarnbeck-8", bench=str(bench), records=f"{tmp_path}/r.sqlite", unattended=True)
    state = app.check(request)
    assert state.ended is not None
    assert state.ended.verdict == "undecided"
    rates = [reading for reading in state.readings if reading.quantity == "frequency"]
    assert [reading.net for reading in rates] == list(CLOCKS)
    assert all(reading.verdict is Verdict.WITHIN for reading in rates)
    unseen = [reading for reading in state.readings if reading.verdict is Verdict.SKIPPED]
    assert {reading.reason for reading in unseen} == {"this bench has no scope"}
    assert {"duty", "high level", "ratio", "line rate", "reset width"} <= {reading.quantity for reading in unseen}
    assert not any(reading.verdict is Verdict.OUTSIDE for reading in state.readings)


def test_a_bench_without_scope_and_counter_still_measures_its_rails(tmp_path: Path) -> None:
    """Clocks are left out too then, with the same reason."""
    rows = rows_of(str(bench_without(tmp_path, "scope", "counter")))
    assert {rows[f"clock {clock}"][2] for clock in CLOCKS} == {"this bench has no scope"}
    assert rows["rail +5V far"][2] is None


def test_a_bench_without_a_programmable_supply_asks_a_person() -> None:
    """Everything is planned; what is lacking is said by name."""
    plan, rows, lacks, _ = app.planned(app.CheckRequest("tarnbeck-8", bench="hand-supply"))
    assert any(feed.by_hand for feed in plan.feeds)
    assert any("without remote control" in words or "by hand" in words for words in lacks)
    told = {type(step.job): row.instrument for step, row in zip(plan.steps, rows, strict=True)}
    assert told[CurrentJob] == "a person"
    assert told[RailJob] == "meter"
