"""The planner: documents to steps, refused before anything is switched on."""

from __future__ import annotations

import pytest

from autobench.documents.gathered import Documents, read_documents
from autobench.errors import UsageError
from autobench.plan.planner import Planner
from autobench.plan.steps import CurrentJob, OhmsJob, Plan, PowerJob, RailJob
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
