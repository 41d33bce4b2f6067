"""Whatever instruments answer, in whatever bytes: every role raises a named error or gives a finite value."""

from __future__ import annotations

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import AutobenchError, LinkError, NoReplyError
from autobench.instruments.connection import link_over
from autobench.instruments.console_session import ConsoleSession, PromptWords
from autobench.instruments.dialect import Dialect
from autobench.instruments.meter import Meter
from autobench.instruments.relays import Relays
from autobench.instruments.scope import Scope, ScopeInput, Setup, Trigger
from autobench.instruments.supply import Supply
from simulated_instruments.clock import SimulatedClock
from tests.drivers.meetings import DEVICES, driver_named

PLAUSIBLE = (
    b"0",
    b"1",
    b"+5.00E+00",
    b"4.99V",
    b'0,"No error"',
    b"V1 5.00",
    b"030201450\rOK",
    b"(@1!1,2!3:2!5)",
    b"0008",
    b"STOP",
    b"RUN",
    b"9.91E37",
    b"0,0,1000,1,1E-6,0,0,.04,0,127",
)
FLAGS = ("on?", "limiting?", "tripped?")
REPLIES = st.lists(st.one_of(st.sampled_from(PLAUSIBLE), st.binary(max_size=40)), min_size=1, max_size=12)


class Babbler:
    """A session that gives the replies it was made with, one after another and over again, whatever is asked."""

    instrument = "babbler"
    has_end = True

    def __init__(self, replies: list[bytes], clock: SimulatedClock) -> None:
        self.replies, self.clock, self.place, self.partial = replies, clock, 0, b""
        self.block = b""

    def write(self, message: bytes, within: float) -> None:
        self.clock.sleep(0.01)
        self.block = b""

    def confirm(self, within: float) -> None:
        self.clock.sleep(0.0)

    def read_message(self, within: float) -> bytes:
        self.clock.sleep(0.01)
        self.place += 1
        return self.replies[self.place % len(self.replies)]

    def read_exact(self, count: int, within: float) -> bytes:
        self.block = self.block or self.read_message(within)
        taken, self.block = self.block[:count], self.block[count:]
        if len(taken) < count:
            raise NoReplyError("babbler", "nothing more came in time")
        return taken

    def finish_message(self, within: float) -> bytes:
        return b""

    def clear(self) -> None:
        self.block = b""

    def status_byte(self) -> int | None:
        return None

    def abort(self) -> None:
        self.block = b""

    def reopen(self) -> None:
        self.block = b""

    def close(self) -> None:
        self.block = b""


def used(name: str, dialect: Dialect) -> list[float]:
    """A whole use of one instrument by its role; the numbers it gave."""
    kind = dialect.driver.kind
    dialect.identify()
    dialect.clear()
    dialect.recognise()
    if kind == "supply":
        supply = Supply(dialect, outputs=(1,))
        supply.quiet()
        supply.set_volts(1, 5.0)
        supply.set_amps(1, 0.5)
        set_back = [supply.set_volts_back(1), supply.set_amps_back(1)] if supply.can("set volts?") else []
        found = [*set_back, supply.volts(1).value, supply.amps(1).value, *supply.look(1)[:2]]
        return [*found, *(float(supply.answer(what, 1).truth) for what in FLAGS if supply.can(what))]
    if kind == "meter":
        meter = Meter(dialect)
        meter.prepare()
        readings = [meter.volts(5.0), meter.ohms(100.0)]
        return [reading.estimate.value for reading in readings if reading.estimate is not None]
    if kind == "relays":
        relays = Relays(dialect)
        relays.prepare()
        relays.close((101,))
        return [float(len(relays.closed()))]
    scope = Scope(dialect)
    scope.prepare()
    setup = Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 1000, Trigger(1, 1.4))
    capture = scope.capture(setup, dialect.clock.sleep, 0.1)
    return [float(capture.interval), *map(float, capture.traces[1].in_volts()[:5])]


@pytest.mark.parametrize("name", DEVICES)
@given(replies=REPLIES)
def test_no_reply_upsets_a_role(name: str, replies: list[bytes]) -> None:
    """Nothing but the named errors is raised, and no value is infinite or not a number."""
    clock = SimulatedClock()
    driver = driver_named(name)
    link = link_over(Babbler(replies, clock), driver, name, clock)
    with contextlib.suppress(AutobenchError):
        assert all(math.isfinite(value) for value in used(name, Dialect(driver, link)))


LINES = st.lists(
    st.one_of(st.sampled_from((b"VDC", b"MEAS1?", b"=>", b"?>", b"!>", b"+1.0E+0 VDC", b"")), st.binary(max_size=12)),
    min_size=1,
    max_size=12,
)


@given(lines=LINES)
def test_no_line_upsets_a_console(lines: list[bytes]) -> None:
    """Echoes and prompts in any order give a reply or a link's error."""
    clock = SimulatedClock()
    session = ConsoleSession(Babbler(lines, clock), PromptWords("=>", ("?>", "!>")), clock)
    link = link_over(session, driver_named("m-2"), "meter", clock)
    for line in ("VDC", "MEAS1?"):
        with contextlib.suppress(LinkError):
            link.ask(line) if line.endswith("?") else link.say(line)
