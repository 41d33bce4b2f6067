"""A reply that comes after its deadline never answers the next question, in any dialect, with tokens or without."""

from __future__ import annotations

import pytest

from autobench.errors import NoReplyError
from autobench.instruments.meter import Meter
from autobench.instruments.supply import Supply
from tests.drivers.meetings import DEVICES, Loads, Source, over

SERIAL = pytest.param("serial", marks=pytest.mark.long)  # these take real time


@pytest.mark.parametrize("transport", ["in process", SERIAL])
@pytest.mark.parametrize("name", ["ps-1", "ps-2", "ps-3", "ps-4", "ps-5", "ps-6", "ps-7"])
def test_a_supplys_late_volts_are_not_its_amps(name: str, transport: str) -> None:
    """Volts asked for in vain, then amps: the answer is in amps and true, whatever was on its way."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    with over(transport, name, lambda clock: DEVICES[name]("supply", clock, loads, seed=5)) as spoken:
        supply = Supply(spoken.dialect, outputs=(1,))
        supply.identify()
        supply.quiet()
        supply.set_volts(1, 5.0)
        supply.set_amps(1, 1.0)
        supply.on(1)
        spoken.clock.sleep(0.5)
        within = spoken.dialect.link.within
        spoken.device.late = 1.2 * within
        with pytest.raises(NoReplyError, match=f"^{name}: no reply to "):
            supply.volts(1)
        spoken.device.late = 0.0
        amps = supply.amps(1)
        assert abs(amps.value - 0.5) < 3.0 * amps.uncertainty  # Ohm's law: 5 V across 10 Ω
        volts = supply.volts(1)
        assert abs(volts.value - 5.0) < 3.0 * volts.uncertainty
        assert sum(line in supply.dialect.lines("on", channel=1) for line in spoken.said) == 1
        supply.off(1)
        spoken.clock.sleep(0.3)  # it is said, not asked: a serial line brings it when it can
        assert not loads.settings[1].on


@pytest.mark.parametrize("transport", ["in process", SERIAL])
@pytest.mark.parametrize("name", ["m-1", "m-2"])
def test_a_meters_late_reading_is_not_the_next_one(name: str, transport: str) -> None:
    """After a reading that came too late the next one is of what is connected now."""
    source = Source(5.0, 50.0)
    with over(transport, name, lambda clock: DEVICES[name]("meter", clock, source, seed=5)) as spoken:
        meter = Meter(spoken.dialect)
        meter.prepare()
        meter.volts(5.0)
        spoken.device.late = 4.0
        with pytest.raises(NoReplyError):
            meter.volts(5.0)
        spoken.device.late = 0.0
        source.emf = 3.0
        reading = meter.volts(5.0)
        assert reading.estimate is not None
        assert reading.estimate.value == pytest.approx(3.0, rel=1e-3)
