"""What the scope may be asked for ahead of the steps: looks up to the next barrier, in the steps' order."""

from __future__ import annotations

from dataclasses import replace

import pytest

from autobench.documents.gathered import read_documents
from autobench.plan.overlap import is_barrier, sights_ahead
from autobench.plan.planner import Planner
from autobench.plan.scope_steps import LineJob
from autobench.plan.steps import PlannedStep, PowerJob


def steps(bench: str = "simulated") -> tuple[PlannedStep, ...]:
    read = read_documents("tarnbeck-8", bench, "baseline")
    return Planner(read.bench, read.drivers, read.board, {}).plan(read.sequence, ()).steps


def behind_power(planned: tuple[PlannedStep, ...]) -> tuple[PlannedStep, ...]:
    on = next(place for place, step in enumerate(planned) if isinstance(step.job, PowerJob))
    return planned[on + 1 :]


def test_nothing_is_looked_at_across_a_change_of_power() -> None:
    """What is seen under one power state says nothing of the next: before power on, and at it, nothing is ahead."""
    planned = steps()
    assert list(sights_ahead(planned)) == []
    assert is_barrier(planned[len(planned) - len(behind_power(planned)) - 1])


def test_every_look_up_to_power_off_is_ahead_in_the_steps_order() -> None:
    """Each step's own sight, those from the start capture left out: that was taken long ago."""
    behind = behind_power(steps())
    wanted = [
        step.job.sight  # type: ignore[union-attr]
        for step in behind
        if hasattr(step.job, "sight") and not (isinstance(step.job, LineJob) and step.job.within is not None)
    ]
    assert list(sights_ahead(behind)) == wanted
    assert len(dict.fromkeys(wanted)) > 20


@pytest.mark.parametrize("change", [{"only_if": ("clock CLK15", "outside")}, {"again": object()}])
def test_a_step_that_hangs_on_earlier_readings_ends_what_is_ahead(change: dict[str, object]) -> None:
    """Nobody knows yet whether it will be taken, or how often."""
    behind = behind_power(steps())
    place = next(place for place, step in enumerate(behind) if step.name.startswith("clock"))
    barrier = replace(behind[place], **change)  # type: ignore[arg-type]
    found = list(sights_ahead((*behind[:place], barrier, *behind[place + 1 :])))
    assert found == [step.job.sight for step in behind[:place] if hasattr(step.job, "sight")]  # type: ignore[union-attr]


def test_a_step_that_cannot_be_taken_is_not_looked_for() -> None:
    """It asks nothing of the scope."""
    behind = behind_power(steps())
    place = next(place for place, step in enumerate(behind) if step.name.startswith("ripple"))
    left_out = replace(behind[place], cannot="no route")
    assert behind[place].job.sight not in list(sights_ahead((left_out, *behind[place + 1 :])))  # type: ignore[union-attr]


def test_a_hand_does_one_thing_at_a_time() -> None:
    """Where tips are held nothing is ahead."""
    assert list(sights_ahead(behind_power(steps("hand")))) == []
