"""Random orders of everything that can happen to an output, against the simulated bench and its own truth.

Whatever comes in whatever order: never beyond the envelope, never on without its conditions, always off at the end.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from autobench.errors import AutobenchError, InterlockRefusedError
from autobench.run.interlock import PROBE_AMPS, PROBE_VOLTS
from simulated_instruments.benches.truth import OutputTruth
from tests.run.test_power import Stand

RAIL = "+5V"
OPERATIONS = (
    "make off",
    "ohms passed",
    "ohms refused",
    "probe",
    "polarity right",
    "polarity wrong",
    "power up",
    "wait",
    "supply ignores off",
    "supply obeys",
    "supply plugged out",
    "supply plugged in",
    "board draws too much",
)
# Orders that get somewhere, cut at any place and followed by anything: random orders alone seldom reach `on`.
USUAL = ("make off", "ohms passed", "probe", "polarity right", "power up", "wait")
ORDERS = st.builds(
    lambda usual, cut, rest: [*usual[:cut], *rest],
    st.just(USUAL),
    st.integers(0, len(USUAL)),
    st.lists(st.sampled_from(OPERATIONS), max_size=8),
)


class Machine:
    """One stand, and what its output has earned so far."""

    def __init__(self) -> None:
        self.stand = Stand()
        self.ohms = self.right = False
        self.never = False  # refused ohms, wrong polarity or a trip: no full ON in this run any more

    def do(self, operation: str) -> None:
        """One operation; what it refuses or reports is its own affair, what it does is looked at afterwards."""
        power, supply = self.stand.power, self.stand.bench.devices["supply"]
        before = power.outputs[RAIL].interlock.state
        actions: dict[str, Callable[[], object]] = {
            "make off": power.make_off,
            "ohms passed": lambda: power.ohms_judged(RAIL, True),
            "ohms refused": lambda: power.ohms_judged(RAIL, False),
            "probe": lambda: power.probe_polarity(RAIL),
            "polarity right": lambda: power.polarity_judged(RAIL, True),
            "polarity wrong": lambda: power.polarity_judged(RAIL, False),
            "power up": power.power_up,
            "wait": lambda: power.wait(0.6),
            "supply ignores off": lambda: setattr(supply, "ignores_off", True),
            "supply obeys": lambda: setattr(supply, "ignores_off", False),
            "supply plugged out": lambda: setattr(supply, "silent", True),
            "supply plugged in": lambda: setattr(supply, "silent", False),
            "board draws too much": lambda: setattr(power.outputs[RAIL].interlock, "envelope", self.tight()),
        }
        with contextlib.suppress(AutobenchError):
            actions[operation]()
        self.learn(operation, before)
        self.look()

    def tight(self) -> object:
        """An envelope lowered in the middle of a run, as caps only ever are."""
        from dataclasses import replace

        envelope = self.stand.power.outputs[RAIL].interlock.envelope
        return replace(envelope, amps=0.9 * envelope.amps)

    def learn(self, operation: str, before: str) -> None:
        """What the output has earned, by the words of the rules and not by the table."""
        if operation == "ohms passed" and before == "off":
            self.ohms = True
        if operation == "polarity right" and before == "probing":
            self.right = True
        if (operation, before) in (("ohms refused", "off"), ("polarity wrong", "probing")):
            self.never = True
        if self.stand.power.outputs[RAIL].interlock.state in ("tripped", "stopped"):
            self.never = True

    def look(self) -> None:
        """The truth against the rules."""
        feed = self.stand.power.outputs[RAIL].feed
        truth = self.stand.bench.truth()
        for output in truth.outputs.values():
            if output.on:
                assert output.output == feed.output
                assert output.set_volts <= feed.envelope.volts + 1e-9
                assert output.set_amps <= feed.envelope.amps + 1e-9
        for _, output_number, volts in truth.ever_on:
            assert output_number == feed.output
            assert volts <= feed.envelope.volts + 1e-9
        on = truth.outputs[feed.output]
        if is_full(on) and not self.stand.bench.devices["supply"].ignores_off:  # type: ignore[attr-defined]
            assert self.ohms
            assert self.right

    def end(self) -> None:
        """The fault is over: one switching-off, and nothing gets it on again that must not."""
        supply = self.stand.bench.devices["supply"]
        supply.silent, supply.ignores_off = False, False  # type: ignore[attr-defined]
        self.stand.power.make_off()
        assert not self.stand.bench.truth().any_on
        if self.never:
            times = self.stand.bench.truth().times_on
            with pytest.raises(InterlockRefusedError):
                self.stand.power.power_up()
            assert self.stand.bench.truth().times_on == times
        with contextlib.suppress(AutobenchError):
            self.stand.opened.close()
        self.stand.bench.close()


def is_full(output: OutputTruth) -> bool:
    """Whether an output is on with more than the polarity probe may have."""
    return output.on and (output.set_volts > PROBE_VOLTS + 1e-6 or output.set_amps > PROBE_AMPS + 1e-6)


def driven(operations: list[str]) -> None:
    machine = Machine()
    for operation in operations:
        machine.do(operation)
    machine.end()


QUIET = (HealthCheck.too_slow, HealthCheck.data_too_large)


@settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=QUIET)
@given(ORDERS)
def test_no_order_of_events_breaks_the_rules(operations: list[str]) -> None:
    """Fifteen orders, always the same ones."""
    driven(operations)


@pytest.mark.long
@settings(max_examples=150, deadline=None, suppress_health_check=QUIET)
@given(ORDERS)
def test_very_many_orders_of_events(operations: list[str]) -> None:
    """A hundred and fifty, different ones each time."""
    driven(operations)


def test_the_usual_order_comes_on_and_goes_off() -> None:
    """The machine itself: the order a round takes does reach full power."""
    machine = Machine()
    for operation in USUAL:
        machine.do(operation)
    assert machine.stand.bench.truth().any_on
    machine.end()
