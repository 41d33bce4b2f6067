"""Every dialect while its instrument or its connection misbehaves: an error in words or the truth, never another
number, and afterwards the truth again over the same link."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.errors import BenchError
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.supply import Supply
from simulated_instruments.connections.misbehaviour import Misbehaviour
from tests.drivers.meetings import DEVICES, Contacts, Loads, Source, Spoken, over
from tests.drivers.test_every_transport import METERS, RELAYS, ROUTES, SUPPLIES

REAL = {"serial", "raw socket", "hislip", "vxi-11"}  # these take real time
GARBAGE = b"\xff\x00HX\x93~garbage" * 3
WRONG: dict[str, Misbehaviour] = {
    "garbage": Misbehaviour(garbage=GARBAGE + b"\r\n"),
    "half a reply": Misbehaviour(cut=1),
    "one byte every 50 ms": Misbehaviour(drip=0.05),
    "closed within a reply": Misbehaviour(cut=1, then="close"),
    "reply held back": Misbehaviour(held=3.0, times=1),
}
Asked = Callable[[], object]


def supply_asked(spoken: Spoken) -> tuple[Asked, Callable[[object], bool]]:
    """Volts of an output that gives 5 V, and whether an answer is true."""
    supply = Supply(spoken.dialect, outputs=(1,))
    supply.quiet()
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 1.0)
    supply.on(1)
    spoken.clock.sleep(0.5)
    return lambda: supply.volts(1).value, lambda value: abs(float(str(value)) - 5.0) < 0.1


def meter_asked(spoken: Spoken) -> tuple[Asked, Callable[[object], bool]]:
    """The same of a meter on 4.75 V; no value at all is no wrong one."""
    meter = Meter(spoken.dialect)
    meter.prepare()

    def volts() -> object:
        estimate = meter.volts(4.75).estimate
        return None if estimate is None else estimate.value

    return volts, lambda value: value is None or abs(float(str(value)) - 4.75) < 0.01


def relays_asked(spoken: Spoken) -> tuple[Asked, Callable[[object], bool]]:
    """The route that is closed."""
    relays = Relays(spoken.dialect)
    relays.prepare()
    route = ROUTES[spoken.dialect.driver.driver][0][0]
    relays.close(route)
    return relays.closed, lambda value: value == route


ROLES = {"p": supply_asked, "m": meter_asked, "w": relays_asked}


@pytest.mark.parametrize("wrong", [*WRONG, "unplugged"])
@pytest.mark.parametrize(
    ("name", "transport"),
    [
        pytest.param(name, transport, marks=pytest.mark.long if transport in REAL else ())
        for name, transport in (*SUPPLIES, *METERS, *RELAYS)
    ],
)
def test_a_dialect_never_takes_nonsense_for_a_reading(name: str, transport: str, wrong: str) -> None:
    """The error names the instrument; once it behaves again, and was plugged in again, what is asked is true."""
    ends = {"p": Loads({1: 10.0, 2: 50.0, 3: 50.0}), "m": Source(4.75, 0.0), "w": Contacts()}
    with over(transport, name, lambda clock: DEVICES[name](name, clock, ends[name[0]], seed=5)) as spoken:
        asked, is_true = ROLES[name[0]](spoken)
        assert is_true(asked())
        spoken.device.silent = wrong == "unplugged"
        spoken.misbehave(replace(WRONG.get(wrong, Misbehaviour())))
        with contextlib.suppress(BenchError):
            told = asked()
            assert wrong != "unplugged"
            assert is_true(told), told
        spoken.device.silent = False
        spoken.misbehave(Misbehaviour())
        if transport == "serial" and wrong == "closed within a reply":
            with pytest.raises(BenchError, match=f"^{name}: "):
                asked()  # a port that was pulled has another name when it comes back
            return
        spoken.clock.sleep(3.5)  # what was held back, or has begun to trickle, goes on until then
        found = [asked() for _ in range(2)]
        assert all(is_true(value) for value in found), found
