"""One part made cold or warm, and looks taken again and again: what is asked for, with what power, what it comes to.

The checks are wanted by hand here, whatever the diagnosis would choose; the simulated board answers by its physics.
"""

from __future__ import annotations

import pytest

from autobench import app, session
from autobench.diagnosis.means import Means
from autobench.diagnosis.result import Diagnosis, NextCheck, Suspect
from autobench.events import Event, PowerChanged, Prompted
from autobench.judgement.reading import Reading

JOINT = "cracked-joint@SW1"
RAILS = ("power", "rails", "cpu")
CPU = ("power", "cpu")


class Made:
    """One check on one specimen of tarnbeck-8, after as much of the round as is wanted."""

    def __init__(
        self, patch: pytest.MonkeyPatch, wanted: NextCheck, fault: str, seed: int, only: tuple[str, ...]
    ) -> None:
        suspect = Suspect("U1", None, "cpu-dead", 0.5, (), ())

        def diagnose(predictions: object, readings: object, means: Means) -> Diagnosis:
            left = None if wanted.name in means.tried else wanted
            return Diagnosis((suspect,), told_apart=False, next_check=left)

        patch.setattr(session, "diagnose", diagnose)
        self.events: list[Event] = []
        simulation = app.Simulation(faults=(fault,), seed=seed)
        request = app.CheckRequest("tarnbeck-8", records="sqlite://", simulation=simulation, only=only)
        self.state = app.investigate(request, [self.events.append])

    @property
    def result(self) -> Reading | None:
        """What the check came to."""
        return next((each for each in self.state.readings if each.quantity in ("cool", "again")), None)

    def asked(self, kind: str) -> tuple[str, str]:
        """The state of the output when a prompt came, and its words."""
        state = ""
        for event in self.events:
            if isinstance(event, PowerChanged):
                state = event.state
            if isinstance(event, Prompted) and event.kind == kind:
                return state, event.words
        raise AssertionError(f"nobody was asked to {kind}")


def cool(part: str, net: str, point: str) -> NextCheck:
    """That check."""
    return NextCheck("cool", point, 4.0, "", "cool", part, net, name=("cool", part))


def again(net: str, point: str) -> NextCheck:
    """That check."""
    return NextCheck("again", point, 0.6, "", "again", net=net, name=("again", net))


@pytest.mark.parametrize(("part", "state"), [("SW1", "follows"), ("J1", "as before")])
def test_a_joint_of_the_supply_is_cooled_on_a_dead_board(
    part: str, state: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With every output proved off; the power comes back while it is cold, and the far end of the rail is looked at
    again and again. The right joint conducts while it is cold, its neighbour changes nothing."""
    made = Made(monkeypatch, cool(part, "+5V", "U18.8"), JOINT, 0, RAILS)
    power, words = made.asked("cool")
    assert power == "settled"
    for caution in ("proved", "glasses", "gloves", "does not burn"):
        assert caution in words
    assert made.asked("dry")[0] == "settled"
    assert made.result is not None
    assert made.result.state == state
    cold = [each for each in made.state.readings if f"with {part} cold" in each.step]
    assert cold
    assert all(each.conditional for each in cold)  # they speak of another board
    assert made.state.ended is not None
    assert made.state.ended.verdict == "faulty"


def test_a_chip_is_cooled_live_and_the_board_starts_anew_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Under the watch, with the cautions in the prompt; it is dry before the power comes back. A dead CPU is as dead
    when it is cold."""
    made = Made(monkeypatch, cool("U1", "RD", "U1.21"), "cpu-dead", 0, CPU)
    power, words = made.asked("cool")
    assert power == "on"
    for caution in ("live", "touch nothing", "glasses", "gloves", "does not burn"):
        assert caution in words
    power, words = made.asked("dry")
    assert power == "settled"
    assert "dry" in words
    assert made.result is not None
    assert made.result.state == "as before"
    assert made.result.reason == "RD is outside its limits, and outside its limits with U1 cold"


@pytest.mark.long
def test_what_is_well_for_the_moment_is_warmed(monkeypatch: pytest.MonkeyPatch) -> None:
    """WAIT was caught while a joint let its rail fall, and is well since: the part is warmed, not cooled, and a part
    that has nothing to do with it changes nothing."""
    made = Made(monkeypatch, cool("U20", "WAIT", "U1.24"), JOINT, 0, ())
    power, words = made.asked("warm")
    assert power == "on"
    assert "70 °C at most" in words
    assert made.result is not None
    assert (made.result.reason or "").startswith("WAIT is within its limits, and ")


@pytest.mark.parametrize(
    ("fault", "check", "only", "state"),
    [
        (JOINT, again("+5V", "U18.8"), RAILS, "comes and goes"),
        ("cpu-dead", again("RD", "U1.21"), CPU, "as before"),
    ],
)
def test_looks_once_more_catch_what_comes_and_goes(
    fault: str, check: NextCheck, only: tuple[str, ...], state: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A joint is seen open in some of the looks, a dead CPU is dead in every one of them; nobody touches the board."""
    made = Made(monkeypatch, check, fault, 0, only)
    assert made.result is not None
    assert made.result.state == state
    assert "further looks" in (made.result.reason or "")
    assert not [each for each in made.events if isinstance(each, Prompted) and each.kind != "power"]
