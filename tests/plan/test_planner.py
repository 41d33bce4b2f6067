"""The planner: documents to steps, refused before anything is switched on."""

from __future__ import annotations

import pytest

from autobench.documents.gathered import Documents, read_documents
from autobench.errors import UsageError
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.planner import Planner
from autobench.plan.scope_steps import DelayJob, DrivingJob, LikenessJob, LineJob, RefreshJob, ResetJob
from autobench.plan.steps import CurrentJob, OhmsJob, Plan, PolarityJob, PowerJob, RailJob
from autobench.quantity import Quantity


def documents() -> Documents:
    return read_documents("tarnbeck-8", "simulated", "baseline")


def plan(*only: str, **options: str) -> Plan:
    read = documents()
    return Planner(read.bench, read.drivers, read.board, options).plan(read.sequence, only)


def test_the_envelope_is_the_least_of_bench_board_and_driver() -> None:
    """The board takes 5.25 V and 1.5 A, the bench would give 5.5 V and 2 A: the board's figures count."""
    (feed,) = plan().feeds
    assert (feed.envelope.volts, feed.envelope.amps, feed.envelope.trip) == (5.25, 1.5, 5.5)


def test_the_limit_is_1_3_times_the_hungriest_choice() -> None:
    """A board declared with the wrong option must show its current, not limit (common practice: 1.3 x)."""
    (feed,) = plan(video="late").feeds
    assert feed.amps == pytest.approx(1.3 * 0.98 * 1.08)
    assert feed.amps < feed.envelope.amps


def test_ohms_and_polarity_come_before_power_and_off_comes_last() -> None:
    """The order of the round is the trade's."""
    jobs = [step.job for step in plan().steps]
    on = next(i for i, job in enumerate(jobs) if isinstance(job, PowerJob) and job.on)
    assert any(isinstance(job, OhmsJob) for job in jobs[:on])
    assert isinstance(jobs[-1], PowerJob)
    assert not jobs[-1].on
    assert not any(isinstance(job, RailJob | CurrentJob) for job in jobs[:on])


def test_the_current_limits_follow_the_options() -> None:
    """What is judged is what this board with these options draws."""
    late = next(step.job for step in plan(video="late").steps if isinstance(step.job, CurrentJob))
    early = next(step.job for step in plan(video="early").steps if isinstance(step.job, CurrentJob))
    assert late.limits.span.low == pytest.approx(0.78 * 0.92)
    assert early.limits.span.high == pytest.approx(0.98 * 1.08)


def test_a_point_without_a_relay_is_planned_as_what_cannot_be_done() -> None:
    """A bench that cannot reach a point says so in the plan."""
    read = documents()
    fixture = {point: number for point, number in read.bench.fixtures["tarnbeck-8"].items() if point != "U18.8"}
    bench = read.bench.model_copy(update={"fixtures": {"tarnbeck-8": fixture}, "hand_probe": None})
    steps = Planner(bench, read.drivers, read.board, {}).plan(read.sequence).steps
    far = next(step for step in steps if step.name == "rail +5V far")
    assert far.cannot is not None
    assert "U18.8" in far.cannot


def test_a_rail_the_bench_does_not_feed_is_refused() -> None:
    """Without a feed there is nothing to plan."""
    read = documents()
    bench = read.bench.model_copy(update={"feeds": {}})
    with pytest.raises(UsageError, match="does not feed"):
        Planner(bench, read.drivers, read.board, {})


def test_only_keeps_what_a_wanted_step_needs() -> None:
    """A drop needs the volts at both its places; those readings do not decide the verdict."""
    steps = plan("drop +5V inlet to far").steps
    kept = {step.name: step.required for step in steps if isinstance(step.job, RailJob)}
    assert kept == {"rail +5V inlet": False, "rail +5V far": False}


def test_the_decision_rule_comes_from_the_sequence() -> None:
    """A step's own rule and patience count before the sequence's; what neither names needs 95 %."""
    read = documents()
    steps = tuple(
        step.model_copy(update={"rule": "w = U", "patience": Quantity(20.0, "s")}) if step.measure == "rail" else step
        for step in read.sequence.steps
    )
    sequence = read.sequence.model_copy(update={"rule": "simple", "steps": steps})
    planned = Planner(read.bench, read.drivers, read.board, {}).plan(sequence).steps
    assert {(step.rule, step.patience) for step in planned if isinstance(step.job, RailJob)} == {("w = U", 20.0)}
    assert {(step.rule, step.patience) for step in planned if isinstance(step.job, CurrentJob)} == {("simple", 0.0)}
    assert {step.rule for step in plan().steps} == {"95 %"}


def test_lines_of_a_bus_are_captured_with_both_their_neighbours() -> None:
    """Whether two lines are one can only be seen in one capture; sixteen address lines have fifteen neighbourhoods."""
    jobs = [step.job for step in plan().steps if isinstance(step.job, LikenessJob)]
    address = [(job.of, job.to) for job in jobs if job.of.startswith("A")]
    assert address == [(f"A{bit}", f"A{bit + 1}") for bit in range(15)]
    assert all(job.sight.shows(job.of) and job.sight.shows(job.to) for job in jobs)
    assert len({job.sight for job in jobs if job.of.startswith("A")}) == 5  # four channels, chained


def test_a_driver_is_captured_with_its_select_and_what_says_that_it_is_read() -> None:
    """ROM and buffer with RD, the memory with its own strobes."""
    jobs = {step.name: step.job for step in plan().steps if isinstance(step.job, DrivingJob)}
    assert (jobs["driving U3 D0"].select, jobs["driving U3 D0"].gate) == ("ROMCS", ("RD", "low"))
    assert (jobs["driving U8 D7"].select, jobs["driving U8 D7"].gate) == ("RAMCS", ("RD", "low"))
    assert (jobs["driving U18 M7"].select, jobs["driving U18 M7"].gate) == ("CAS", ("WE", "high"))
    assert all(job.sight.shows(job.line) and job.sight.shows(job.select) for job in jobs.values())
    lines = {step.name: step.job for step in plan().steps if isinstance(step.job, LineJob)}
    assert lines["line M7"].sight == jobs["driving U18 M7"].sight


def test_strobes_share_a_capture_with_what_tells_whose_refresh_it_is() -> None:
    """RAS, CAS, WE and REFRESH on four channels: rates, the delay and the refresh come from one capture."""
    jobs = [step.job for step in plan().steps if isinstance(step.job, DelayJob | RefreshJob)]
    assert [point.net for point in jobs[0].sight.points] == ["RAS", "CAS", "WE", "REFRESH"]
    assert jobs[0].sight == jobs[1].sight


def test_what_takes_many_tips_at_once_is_no_gap_in_the_round_by_hand() -> None:
    """By hand each line is looked at alone; dozens of comparisons with three tips are left out and not required."""
    read = read_documents("tarnbeck-8", "hand", "baseline")
    steps = Planner(read.bench, read.drivers, read.board, {}).plan(read.sequence).steps
    together = [step for step in steps if isinstance(step.job, DrivingJob)]
    assert together
    assert all(step.cannot is not None and not step.required for step in together)
    alone = [step for step in steps if isinstance(step.job, LineJob) and step.job.line in ("A15", "M7", "RAS")]
    assert [step.cannot for step in alone] == [None, None, None]


def test_levels_are_judged_on_lines_that_somebody_always_drives() -> None:
    """A RAM's data output drifts between accesses: no low level and no stay is asked of it."""
    lines = {step.job.line: step.job for step in plan().steps if isinstance(step.job, LineJob)}
    assert lines["M0"].stay is None
    assert lines["D0"].stay is not None
    assert lines["D0"].stay.span.high == pytest.approx(150e-9)
    assert lines["FETCH"].low is None


@pytest.mark.parametrize(("net", "point", "shortest"), [("RAS", "U12.4", 80e-9), ("MA3", "U13.12", 50e-9)])
def test_a_further_look_is_as_fast_as_its_net_wants(net: str, point: str, shortest: float) -> None:
    """Five samples in the shortest pulse that the board file tells (common practice), at whatever point of the net."""
    read = documents()
    job = ExtraLooks(Planner(read.bench, read.drivers, read.board, {})).look(net, point).job
    assert isinstance(job, LineJob)
    assert job.sight.rate >= 5 / shortest


def test_a_line_that_pulses_rarely_is_looked_at_with_peak_detection() -> None:
    """A fast capture of 2.4 ms would hold a handful of pulses of 2 kHz, now and then none; WR comes often enough."""
    jobs = {step.job.line: step.job for step in plan().steps if isinstance(step.job, LineJob)}
    assert jobs["IORQ"].sight.peak
    assert jobs["IORQ"].sight.seconds >= 0.1
    assert not jobs["WR"].sight.peak


def test_what_the_reset_holds_is_in_the_start_capture() -> None:
    """On an input that rail and reset line leave free."""
    (job,) = (step.job for step in plan().steps if isinstance(step.job, ResetJob))
    (start,) = (step.job.start for step in plan().steps if isinstance(step.job, PowerJob) and step.job.start)
    assert job.holds is not None
    assert (job.holds.net, job.holds.point) == ("FETCH", "U1.27")
    assert [point.net for point in start.sight.points] == ["+5V", "RESET", "FETCH"]


def test_a_polarity_probe_knows_the_choices_without_that_inlet() -> None:
    """9 V are fed with the converter only, the three rails without it; a rail of every board knows none."""
    read = read_documents("orrin-tk", "simulated", "baseline")
    for choice, other in (("converter", "bench"), ("bench", "converter")):
        made = Planner(read.bench, read.drivers, read.board, {"power": choice}).plan(read.sequence)
        probes = [step.job for step in made.steps if isinstance(step.job, PolarityJob)]
        assert {probe.not_fed for probe in probes} == {(f"power={other}",)}
    assert {step.job.not_fed for step in plan().steps if isinstance(step.job, PolarityJob)} == {()}
