"""A counter's uncertainty against figures from outside, and what it refuses."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from autobench.documents.driver_counts import CounterTrust
from autobench.errors import BenchError
from autobench.instruments.counter import Counter
from autobench.instruments.meter import Meter
from autobench.judgement.uncertainty import Budget
from autobench.quantity import Quantity
from tests.drivers.meetings import DEVICES, Source, over
from tests.drivers.square import Square


@contextmanager
def counter(name: str = "k-2", trust: CounterTrust | None = None) -> Iterator[Counter]:
    """A counter on a wave of 1 MHz, behind probes that divide by ten."""
    with over("in process", name, lambda clock: DEVICES[name]("counter", clock, Square(), seed=5)) as spoken:
        made = Counter(spoken.dialect, probe=10.0)
        made.prepare()
        if trust is not None:
            made.counts = made.counts.model_copy(update={"trust": trust})
        yield made


def test_a_plain_count_is_uncertain_by_one() -> None:
    """1 MHz for 1 s is known to 1e-6 at the most, as a rectangle of one count to 5.77e-7 (GUM 4.3.7; computed)."""
    events = CounterTrust.model_construct(time_base=0.0, resolution=None, one_count=True)
    with counter(trust=events) as made:
        assert Budget(made.components(1e6, 1.0)).standard / 1e6 == pytest.approx(5.77e-7, rel=1e-3)
        assert Budget(made.components(1e6, 0.1)).standard / 1e6 == pytest.approx(5.77e-6, rel=1e-3)


def test_a_reciprocal_count_is_uncertain_by_its_resolution() -> None:
    """10 ns in a gate of 1 s are 1e-8 at the most, whatever the rate (counter application notes, from memory)."""
    periods = CounterTrust.model_construct(time_base=0.0, resolution=Quantity(10e-9, "s"), one_count=False)
    with counter(trust=periods) as made:
        for rate in (1e3, 1e6, 15e6):
            assert made.components(rate, 1.0)[1].value == pytest.approx(1e-8)
            assert Budget(made.components(rate, 1.0)).standard / rate == pytest.approx(1e-8 / 3**0.5)


def test_a_gate_beyond_the_instrument_is_refused() -> None:
    """Before anything is counted."""
    with counter() as made, pytest.raises(BenchError, match=r"a gate of 5\.000 ks is not in"):
        made.rate(1, 1.4, 5000.0)


def test_a_level_that_is_not_taken_is_told() -> None:
    """An instrument that keeps another level than it was sent counts something else."""
    with counter() as made:
        made.dialect.driver.actions["set level"] = made.dialect.driver.actions["set level"].model_copy(
            update={"say": ("INP{channel}:LEV 0.3",)}
        )
        with pytest.raises(BenchError, match=r"the level stays at 300\.0 mV although 1\.400 V was sent"):
            made.rate(1, 1.4, 0.1)


def test_a_level_is_at_the_connector_where_the_probe_cannot_be_told() -> None:
    """1.4 V at the tip of a probe by ten are 0.14 V there."""
    with counter("k-1") as made:
        made.rate(1, 1.4, 0.01)
        assert made.dialect.perform("set level?", channel=1).number == pytest.approx(0.14)  # type: ignore[union-attr]
    with counter("k-2") as made:
        made.rate(1, 1.4, 0.01)
        assert made.dialect.perform("set level?", channel=1).number == pytest.approx(1.4)  # type: ignore[union-attr]


def test_another_instruments_driver_is_no_counter() -> None:
    """A meter's driver cannot count."""
    with over("in process", "m-1", lambda clock: DEVICES["m-1"]("meter", clock, Source(5.0, 50.0), seed=5)) as spoken:
        assert Meter(spoken.dialect).name == "m-1"
        with pytest.raises(BenchError, match="is not one of a counter"):
            Counter(spoken.dialect)
