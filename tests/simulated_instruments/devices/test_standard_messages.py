"""The standards' own messages at a device: each whole, byte by byte, and with the beginning of the next behind it."""

from __future__ import annotations

import pytest

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.supply_channel_list import ChannelListSupply
from tests.drivers.meetings import Loads

# What is sent, the answer, and the numbers left in the error queue.
CASES = [
    # SCPI-1999 vol. 1, 6.2.4: a semicolon keeps the level, a leading colon goes to the root
    ("VOLT:LEV 3,(@1);PROT 5,(@1);PROT? (@1)", b"+5.00000000E+00\n", []),
    ("VOLT:LEV 3,(@1);VOLT:PROT 5,(@1)", b"", [-113]),
    (":VOLT 2,(@1);:CURR 1,(@1);:VOLT? (@1);:CURR? (@1)", b"+2.00000000E+00;+1.00000000E+00\n", []),
    ("VOLT 2,(@1);*OPC?;PROT? (@1)", None, None),  # a common command leaves the path alone
    # SCPI-1999 vol. 1, 6.2.1: short and long form, any case, nothing between
    ("syst:err?", b'0,"No error"\n', []),
    ("SYSTEM:ERROR?", b'0,"No error"\n', []),
    ("sYsT:eRrOr:NEXT?", b'0,"No error"\n', []),
    ("SYSTE:ERR?", b"", [-113]),
    # SCPI-1999 vol. 2, 21.8.9: conditions that the standard names with each number
    ("SETUP&", b"", [-101]),
    ("*XYZ", b"", [-113]),
    ("*ESE", b"", [-109]),
    ("*CLS 0,1", b"", [-108]),
    ('*ESE"60"', b"", [-111]),
    ("*ESE 1E32001", b"", [-123]),
    ("*ESE " + "1" * 256, b"", [-124]),
    ("*ESE 1 ABCDEFGHIJKLM", b"", [-134]),
    ("*ESE ABCDEFGHIJKLM", b"", [-144]),
    ("ABCDEFGHIJKLM 1", b"", [-112]),
    ("*ESE 'x", b"", [-151]),
    ("*ESE (1", b"", [-171]),
    # SCPI-1999 vol. 2, 21.8.10: out of range is an execution error and ends nothing
    ("*ESE 256;*ESE?", b"0\n", [-222]),
    # IEEE 488.2 8.4.1: one response message, its units separated by semicolons
    ("*ESE 60;*ESE?;*SRE 48;*SRE?;*TST?", b"60;48;0\n", []),
    # IEEE 488.2 7.7.6: a line feed within a block is data; a block for a number is the standard's example of -104
    ("*ESE #15a\nb\nc;*ESE 1\n*ESE?", b"0\n", [-104]),
    # IEEE 488.2 7.7.4: numbers to other bases
    ("*ESE #H3C;*ESE?;*ESE #Q74;*ESE?;*ESE #B111100;*ESE?", b"60;60;60\n", []),
]


def supply() -> ChannelListSupply:
    """A device that has just been greeted."""
    made = ChannelListSupply("supply", SimulatedClock(), Loads({1: 10.0, 2: 10.0, 3: 10.0}), seed=1)
    made.receive(b"*CLS", True)
    return made


def heard(device: ChannelListSupply) -> bytes:
    """What it says by now."""
    said = b""
    while (pending := device.reply()) is not None:
        device.clock.sleep(max(0.0, pending.ready_at - device.clock.now()))
        said += pending.data
        device.take()
    return said


def outcome(device: ChannelListSupply, pieces: list[bytes]) -> tuple[bytes, list[int]]:
    """The reply to a message that comes in these pieces, and the errors it leaves."""
    for piece in pieces:
        device.receive(piece, False)
    said = heard(device)
    numbers = []
    while len(device.errors):
        numbers.append(device.errors.pop().number)
    return said, numbers


@pytest.mark.parametrize(("message", "reply", "numbers"), CASES)
def test_a_message_means_the_same_however_it_arrives(
    message: str, reply: bytes | None, numbers: list[int] | None
) -> None:
    """Whole, byte by byte, and with a rest that waits for its own end."""
    data = message.encode("latin-1") + b"\n"
    whole = outcome(supply(), [data])
    if reply is not None:
        assert whole == (reply, numbers)
    assert outcome(supply(), [data[place : place + 1] for place in range(len(data))]) == whole
    behind = supply()
    assert outcome(behind, [data + b"*ES"]) == whole
    behind.receive(b"R?;*TST?\n", False)
    assert heard(behind).endswith(b";0\n")
