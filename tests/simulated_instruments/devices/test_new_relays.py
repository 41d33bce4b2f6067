"""The relays W-2, W-3 and W-4 by their own commands: lists, exclusion, masks, and a state that is software alone."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.relays_card_channel import CardChannelRelays
from simulated_instruments.devices.relays_console import ConsoleRelays
from simulated_instruments.devices.relays_scanner import ScannerRelays
from tests.drivers.meetings import Contacts


class Bench:
    """Relays on contacts, spoken to with an END flag."""

    def __init__(self, kind: type) -> None:
        self.clock, self.contacts = SimulatedClock(), Contacts()
        self.device: Device = kind("relays", self.clock, self.contacts, 5)

    @property
    def closed(self) -> frozenset[int]:
        """What the contacts were told last."""
        return self.contacts.moves[-1]

    def send(self, text: str) -> str:
        """The reply to one message, without its terminator; "" where there is none."""
        self.clock.sleep(0.1)
        self.device.receive(text.encode("latin-1"), True)
        pending = self.device.reply()
        if pending is None:
            return ""
        self.clock.sleep(max(0.0, pending.ready_at - self.clock.now()))
        data = pending.data
        self.device.take()
        return data.decode("latin-1").strip()

    def error(self) -> int:
        """The oldest error."""
        return int(self.send("SYST:ERR?").split(",")[0])


@pytest.fixture
def w_2() -> Bench:
    return Bench(CardChannelRelays)


@pytest.fixture
def w_3() -> Bench:
    return Bench(ScannerRelays)


@pytest.fixture
def w_4() -> Bench:
    return Bench(ConsoleRelays)


def test_cards_close_as_well_and_tell_a_list(w_2: Bench) -> None:
    """Card and position, runs within a list, closing opens nothing, and the state is a list of channels."""
    assert w_2.send("ROUT:CLOS:STAT?") == "(@)"
    w_2.send("ROUT:CLOS (@1!1)")
    w_2.send("ROUT:MULT:CLOS (@ 2!3:2!5, 6!40)")
    assert w_2.closed == {101, 203, 204, 205, 640}
    assert w_2.send("ROUT:CLOS:STAT?") == "(@1!1,2!3:2!5,6!40)"
    w_2.send("ROUT:OPEN (@2!4)")
    assert w_2.send("ROUT:CLOS:STAT?") == "(@1!1,2!3,2!5,6!40)"
    w_2.send("ROUT:OPEN ALL")
    assert (w_2.closed, w_2.error()) == (frozenset(), 0)


@pytest.mark.parametrize(("line", "number"), [("(@101)", -171), ("(@7!1)", -222), ("(@1!81)", -222), ("FOO", -104)])
def test_other_lists_are_refused(w_2: Bench, line: str, number: int) -> None:
    """Another form is an invalid expression, a channel there is not is out of range (SCPI-1999 vol. 2, 21.8)."""
    w_2.send(f"ROUT:CLOS {line}")
    assert w_2.error() == number
    assert w_2.closed == frozenset()


def test_a_preset_leaves_relays_closed_and_a_reset_does_not(w_2: Bench) -> None:
    """As a switch system's guide has it; what is in the scan list refuses to close until then."""
    w_2.send("ROUT:SCAN (@1!1:1!10)")
    w_2.send("ROUT:CLOS (@1!5)")
    assert w_2.error() == -221
    w_2.send("ROUT:CLOS (@2!5)")
    w_2.send("SYST:PRES")
    assert w_2.closed == {205}
    w_2.send("ROUT:CLOS (@1!5)")
    assert (w_2.closed, w_2.error()) == ({105, 205}, 0)
    w_2.send("*RST")
    assert w_2.closed == frozenset()


def test_a_scanner_opens_the_one_before(w_3: Bench) -> None:
    """One channel at a time, break before make; a list of several is refused and moves nothing."""
    w_3.send("ROUT:CLOS (@ 2)")
    assert w_3.send("ROUT:CLOS:STAT?") == "(@ 2)"
    w_3.send("ROUT:CLOS (@5)")
    assert w_3.contacts.moves[-3:] == [{2}, frozenset(), {5}]
    for line in ("(@1,2)", "(@1:3)", "(@11)"):
        w_3.send(f"ROUT:CLOS {line}")
        assert w_3.error() == -222
    assert w_3.closed == {5}
    w_3.send("ROUT:OPEN (@4)")
    assert w_3.closed == {5}
    w_3.send("ROUT:OPEN:ALL")
    assert w_3.send("ROUT:CLOS:STAT?") == "(@)"
    assert w_3.error() == 0


def test_a_console_counts_from_nought_and_tells_a_mask(w_4: Bench) -> None:
    """Relay 3 is bit 3: 0008 of sixteen (its own sheet); what it does not understand it passes over."""
    assert w_4.send("relay on 3\r") == ""
    assert w_4.send("relay readall\r") == "0008"
    w_4.send("relay on 15\r")
    assert (w_4.send("relay readall\r"), w_4.closed) == ("8008", {3, 15})
    for line in ("relay on 16", "relay up 4", "*IDN?", "relay writeall 00", "RELAY ON 5"):
        assert w_4.send(f"{line}\r") == ""
    w_4.send("relay off 3\r")
    assert w_4.send("relay readall\r") == "8000"
    assert (w_4.send("relay read 15\r"), w_4.send("relay read 3\r")) == ("on", "off")
    w_4.send("relay writeall 0000\r")
    assert w_4.closed == frozenset()


def test_a_line_that_comes_too_soon_is_lost(w_4: Bench) -> None:
    """100 ms between lines is what its makers' code leaves (common practice)."""
    w_4.send("relay on 1\r")
    w_4.device.receive(b"relay on 2\r", True)
    assert w_4.send("relay readall\r") == "0002"
