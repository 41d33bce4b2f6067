"""The slot-and-channel multiplexer: what it tells its contacts, and what it answers."""

from __future__ import annotations

import pytest

from autobench.protocols.replies import parse_error
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays


class Contacts:
    """Remembers every state the contacts were told to take."""

    def __init__(self) -> None:
        self.states: list[frozenset[int]] = []

    def closed(self, channels: frozenset[int]) -> None:
        self.states.append(channels)


class Bench:
    """A multiplexer and its contacts."""

    def __init__(self) -> None:
        self.clock = SimulatedClock()
        self.contacts = Contacts()
        self.relays = SlotChannelRelays("relays", self.clock, self.contacts, seed=3)
        self.say("*CLS")

    def say(self, message: str) -> None:
        self.relays.receive(message.encode("ascii"), True)
        assert self.relays.reply() is None

    def ask(self, message: str) -> str:
        self.relays.receive(message.encode("ascii"), True)
        pending = self.relays.reply()
        assert pending is not None, f"no reply to {message!r}"
        self.clock.sleep(pending.ready_at - self.clock.now())
        self.relays.take()
        return pending.data.decode("ascii").removesuffix("\n")

    def error(self) -> int:
        return parse_error(self.ask("SYST:ERR?"))[0]


def test_closing_adds_and_opening_takes_away() -> None:
    """CLOSe leaves other channels as they are; OPEN opens what it names; a query answers in list order."""
    bench = Bench()
    bench.say("ROUT:CLOS (@101,203)")
    bench.say("ROUTE:CLOSE (@640)")
    assert bench.contacts.states[-1] == {101, 203, 640}
    assert bench.ask("ROUT:CLOS? (@101:103,203)") == "1,0,0,1"  # common practice: list order
    assert bench.ask("ROUT:OPEN? (@101,102)") == "0,1"
    bench.say("ROUT:OPEN (@101,102)")
    assert bench.contacts.states[-1] == {203, 640}
    bench.say("ROUT:OPEN:ALL")
    assert bench.contacts.states[-1] == frozenset()
    assert bench.error() == 0


def test_an_exclusive_close_breaks_before_it_makes() -> None:
    """All other channels open before the new one closes."""
    bench = Bench()
    bench.say("ROUT:CLOS (@101,102)")
    bench.say("ROUT:CLOS:EXCL (@102,203)")
    assert bench.contacts.states[-2:] == [{102}, {102, 203}]


def test_reset_opens_all() -> None:
    """*RST opens every relay, and SYST:CPON those of one card."""
    bench = Bench()
    bench.say("ROUT:CLOS (@101,201,301);:SYST:CPON 2")
    assert bench.contacts.states[-1] == {101, 301}
    bench.say("*RST")
    assert bench.contacts.states[-1] == frozenset()  # common practice
    bench.say("ROUT:CLOS (@101);:SYST:CPON ALL")
    assert bench.contacts.states[-1] == frozenset()


@pytest.mark.parametrize("channel", ["100", "181", "001", "701", "1", "99999"])
def test_channels_that_are_not_fitted_are_refused(channel: str) -> None:
    """A channel outside slots 1 to 6 and positions 01 to 40 is an error, and nothing moves."""
    bench = Bench()
    bench.say(f"ROUT:CLOS (@101,{channel})")
    assert bench.error() == -222  # SCPI-1999 vol. 2, 21.8.10
    assert bench.contacts.states == [frozenset()]


def test_a_range_across_slots_takes_the_fitted_channels() -> None:
    """From 179 to 202 there are four channels."""
    bench = Bench()
    bench.say("ROUT:CLOS (@179:202)")
    assert bench.contacts.states[-1] == {179, 180, 201, 202}


def test_operation_complete_waits_for_the_contacts() -> None:
    """*OPC? answers 10 ms after the last relay was told, and at once when nothing moved."""
    bench = Bench()
    bench.clock.sleep(1.0)
    start = bench.clock.now()
    assert bench.ask("ROUT:CLOS (@101);*OPC?") == "1"
    assert bench.clock.now() - start > 0.00999  # common practice: electromechanical relays need 5-10 ms
    start = bench.clock.now()
    assert bench.ask("ROUT:CLOS (@101);*OPC?") == "1"
    assert bench.clock.now() - start < 0.01


def test_cycles_count_closings() -> None:
    """A relay's counter goes up when it closes, not when it is told to stay closed."""
    bench = Bench()
    first = int(bench.ask("DIAG:REL:CYCL? (@101)"))
    bench.say("ROUT:CLOS (@101)")
    bench.say("ROUT:CLOS (@101)")
    bench.say("ROUT:OPEN (@101)")
    bench.say("ROUT:CLOS:EXCL (@101)")
    assert int(bench.ask("DIAG:REL:CYCL? (@101)")) == first + 2


def test_the_scan_delay_is_kept_per_channel() -> None:
    """ROUT:CHAN:DEL stores its value for the listed channels, and *RST forgets it."""
    bench = Bench()
    bench.say("ROUT:CHAN:DEL 0.02,(@101,102)")
    assert bench.ask("ROUT:CHAN:DEL? (@102,103)") == "+2.00000000E-02,+0.00000000E+00"
    bench.say("ROUT:CHAN:DEL 100,(@101)")
    assert bench.error() == -222  # SCPI-1999 vol. 2, 21.8.10
    bench.say("*RST")
    assert bench.ask("ROUT:CHAN:DEL? (@102)") == "+0.00000000E+00"
