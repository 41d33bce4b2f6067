"""The link after an error: late, cut and missing replies, and the way back in step."""

from __future__ import annotations

from typing import Any

import pytest

from autobench.clock import RealClock
from autobench.errors import LinkError, LinkLostError, NoReplyError, ReplyError
from autobench.instruments.supply import Supply
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.raw_socket import SocketServer
from tests.drivers.meetings import DEVICES, Loads, meet

WITHIN = 0.2  # seconds; the usual deadline of the links in these tests


def test_late_reply_does_not_answer_the_next_query(bench: Any) -> None:
    """After a reply that came too late the next query gets its own answer, without opening again."""
    bench.device.late = 1.5 * WITHIN
    with pytest.raises(NoReplyError):
        bench.link.ask("*IDN?")
    bench.come_back()
    assert bench.link.ask("COUN?") == "1"
    assert bench.link.ask("*ESE?") == "0"
    assert not bench.link.dirty
    assert bench.link.reopenings == 0


def test_very_late_reply(over_socket: Any) -> None:
    """A reply that comes after all patience is left behind by opening again."""
    over_socket.device.late = 5 * WITHIN
    with pytest.raises(NoReplyError):
        over_socket.link.ask("*IDN?")
    over_socket.come_back()
    assert over_socket.link.ask("COUN?") == "1"
    assert over_socket.link.reopenings == 1


def test_no_command_is_repeated(bench: Any) -> None:
    """A query that failed is not sent again by the link: the instrument counted it once."""
    bench.device.late = 1.5 * WITHIN
    with pytest.raises(NoReplyError):
        bench.link.ask("COUN?")
    bench.come_back()
    bench.link.recover()
    bench.link.ask("*ESE?")
    assert [one.sent for one in bench.exchanges].count(b"COUN?") == 1
    assert bench.device.counted <= 1


def test_recovery_restores_the_enable_register(bench: Any) -> None:
    """The tokens of recovery pass through the event status enable register, which afterwards is what it was."""
    bench.link.say("*ESE 189")
    bench.link.recover()
    assert bench.link.ask("*ESE?") == "189"


def test_recovery_empties_the_error_queue(in_process: Any) -> None:
    """Errors that the failure left in the instrument's queue do not accuse the next command."""
    in_process.link.say("*ESE 0")
    with in_process.link.safing(), pytest.raises(NoReplyError):
        in_process.link.ask("*CLS")  # a command is not answered: reading makes a query error
    assert len(in_process.device.errors) == 1  # IEEE 488.2, 6.3.1: UNTERMINATED, -420
    assert in_process.link.ask("SYST:ERR?").startswith("0,")


def test_unplugged_instrument(bench: Any) -> None:
    """Where neither clearing nor opening again helps, the next use says so and the link stays dirty."""
    bench.device.silent = True
    with pytest.raises(NoReplyError):
        bench.link.ask("*IDN?", 0.05)
    with pytest.raises(LinkError, match="out of step after an error, and neither clearing nor reopening helped"):
        bench.link.ask("*IDN?", 0.05)
    assert bench.link.dirty
    bench.come_back()
    assert bench.link.ask("*IDN?") == bench.device.identity
    assert not bench.link.dirty


def test_block_without_a_length_on_a_socket(over_socket: Any) -> None:
    """Where nothing marks the end of a message an indefinite block is refused, and the link finds back."""
    over_socket.device.curve = b"a\nb\r\n\r"
    with pytest.raises(ReplyError, match="without a length"):
        over_socket.link.ask_block("CURV:ENDL?")
    assert over_socket.link.ask("COUN?") == "1"


def test_half_a_block_then_silence(over_socket: Any) -> None:
    """A block that stops half way ends at the deadline, keeps what came as evidence, and the next query is in step."""
    over_socket.device.curve = bytes(range(256)) * 40
    over_socket.device.cut = 5000
    over_socket.device.terminator = b""
    with pytest.raises(NoReplyError, match=r"no complete reply to CURV\? within 200 ms, only: .* \(4993 bytes\)"):
        over_socket.link.ask_block("CURV?")
    assert over_socket.exchanges[0].received == over_socket.device.curve[: 5000 - len(b"#510240")]
    over_socket.come_back()
    assert over_socket.link.ask("COUN?") == "1"


def test_block_cut_short_by_end(in_process: Any) -> None:
    """A block that the END flag cuts short is an error that says how much came, and the next query is in step."""
    in_process.device.curve = bytes(1000)
    in_process.device.cut, in_process.device.terminator = 106, b""
    with pytest.raises(ReplyError, match=r"CURV\?: the message ended after 100 of 1000 bytes"):
        in_process.link.ask_block("CURV?")
    in_process.come_back()
    assert in_process.link.ask("COUN?") == "1"


def test_a_reply_that_is_no_block(bench: Any) -> None:
    """Text where a block should come is an error, and the next query is in step."""
    with pytest.raises(LinkError):
        bench.link.ask_block("*IDN?")
    assert bench.link.ask("COUN?") == "1"


def test_server_gone(connect: Any, make_recorder: Any) -> None:
    """An instrument that closes the connection is lost at once, and stays lost while its port is closed."""
    clock = RealClock()
    server = SocketServer(make_recorder("recorder", clock))
    server.start()
    bench = connect(server.device, clock, server.address)
    bench.link.say("*CLS")
    server.stop()
    with pytest.raises(LinkLostError, match=r"\*IDN\?: the connection is lost"):
        bench.link.ask("*IDN?", 5.0)
    with pytest.raises(LinkLostError, match="refused"):
        bench.link.ask("*IDN?", 5.0)
    bench.link.close()


def test_a_closed_link_stays_closed(bench: Any) -> None:
    """After closing every use fails as lost, and none opens the connection again."""
    bench.link.close()
    for _ in range(2):
        with pytest.raises(LinkLostError, match="closed"):
            bench.link.ask("*IDN?")
    with pytest.raises(LinkLostError, match="closed"):
        bench.link.recover()


def test_an_interrupt_leaves_the_link_dirty(connect: Any, make_recorder: Any) -> None:
    """An exchange that is broken off from outside is reported and makes the next one recover first."""

    class Interrupting(SimulatedClock):
        def sleep(self, seconds: float) -> None:
            if not self.spent:
                self.spent = True
                raise KeyboardInterrupt
            super().sleep(seconds)

        spent = False

    clock = Interrupting()
    device = make_recorder("recorder", clock)
    bench = connect(device, clock, "GPIB0::5::INSTR", InProcessLibrary({"GPIB0::5::INSTR": device}, clock))
    with pytest.raises(KeyboardInterrupt):
        bench.link.ask("*IDN?")
    assert bench.exchanges[-1].error == "KeyboardInterrupt"
    assert bench.link.dirty
    assert bench.link.ask("COUN?") == "1"
    bench.link.close()


def test_a_dialect_without_tokens(in_process: Any) -> None:
    """Without the common commands a late answer is waited out and dropped; no token is sent."""
    in_process.link.scpi = False
    in_process.device.late = 1.5 * WITHIN
    with pytest.raises(NoReplyError):
        in_process.link.ask("*IDN?")
    in_process.come_back()
    assert in_process.link.ask("COUN?") == "1"
    assert not any(b"*ESE" in one.sent for one in in_process.exchanges)


def test_what_must_not_wait_is_sent_before_the_way_back(bench: Any) -> None:
    """After a failed exchange a command can go out at once; the exchange after it recovers as any other."""
    bench.device.late = 1.5 * WITHIN
    with pytest.raises(NoReplyError):
        bench.link.ask("COUN?")
    bench.come_back()
    before = len(bench.exchanges)
    bench.link.say_ahead("*ESE 7")
    assert [one.sent for one in bench.exchanges[before:]] == [b"*ESE 7"]
    assert bench.link.dirty
    bench.link.say("*ESE 7")
    assert bench.exchanges[before + 1].sent.startswith(b"*ESE?;*ESE ")  # the first token
    assert bench.link.ask("*ESE?") == "7"


def test_a_link_in_step_says_nothing_ahead(bench: Any) -> None:
    """Without a failure there is no hurry: the command itself comes next."""
    assert bench.link.ask("*ESE?") == "0"
    before = len(bench.exchanges)
    bench.link.say_ahead("*ESE 7")
    assert len(bench.exchanges) == before
    assert bench.link.ask("*ESE?") == "0"


def test_saying_ahead_to_nobody_raises_nothing(over_socket: Any) -> None:
    """A connection that is gone is found out by what comes after."""
    over_socket.link.distrust()
    over_socket.link.close()
    over_socket.link.say_ahead("*ESE 7")
    with pytest.raises(LinkLostError):
        over_socket.link.say("*ESE 7")


def test_a_supply_out_of_step_is_switched_off_before_anything_else() -> None:
    """The first that goes out after a reply without sense is OFF, and it is said again once both are in step."""
    loads = Loads({1: 10.0, 2: 10.0, 3: 10.0})
    spoken = meet("ps-3", DEVICES["ps-3"]("supply", SimulatedClock(), loads, seed=5))
    supply = Supply(spoken.dialect, outputs=(1,))
    supply.set_volts(1, 5.0)
    supply.on(1)
    spoken.dialect.link.distrust()
    before = len(spoken.said)
    supply.off(1)
    sent = spoken.said[before:]
    assert sent[0] == "OUTP OFF,(@1)"
    assert sent.count("OUTP OFF,(@1)") == 2
    assert not loads.settings[1].on
    assert spoken.dialect.errors() == []
