"""Whatever is sent to any simulated instrument, in whatever pieces, it answers, reports or ignores, and goes on."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.devices.instrument import Device
from tests.drivers.meetings import DEVICES, Contacts, Loads, Source
from tests.drivers.square import Square

WORDS = (
    *("VOLT", "CURR", "OUTP", "INST:NSEL", "MEAS:VOLT?", "STAT:QUES:COND?", "CONF:VOLT:DC", "READ?", "ROUT:CLOS"),
    *("WAV:PRE?", "WAV:DATA?", "CHAN1:SCAL", "SING", "RUN", "STOP", "VDC", "RANGE", "MEAS1?", "FORMAT", "STATUS?"),
    *("VSET1:05.00", "*RST", "*CLS", "*IDN?", "*OPC?", "*ESE", "1", "ON", "-5.0", "9E99", "(@1)", "(@9)", "#15HELLO"),
    *("GETD", "VOLT050", "SOUT0", "relay on 3", "relay readall", "(@1!1)", "(@ 2)", "ROUT:OPEN ALL", "ROUT:CLOS:STAT?"),
    *("CH1", "MIN", ":", ";", ";:", ",", "?", "*", '"', "'", "\n", "\r"),
)
NAMELESS = {"ps-6": b"GETD", "w-4": b"relay readall"}  # what those are asked that do not know `*IDN?`
MESSAGES = st.one_of(
    st.lists(st.sampled_from(WORDS), max_size=8).map(" ".join),
    st.text(st.characters(max_codepoint=255), max_size=30),
)


def made(name: str) -> Device:
    """A fresh device, its terminals joined to something."""
    clock = SimulatedClock()
    clock.sleep(2.0)
    ends: dict[str, object] = {"p": Loads(dict.fromkeys((1, 2, 3), 10.0)), "m": Source(5.0, 50.0), "w": Contacts()}
    device: Device = DEVICES[name](name, clock, ends.get(name[0], Square()), seed=5)
    return device


def heard(device: Device) -> bytes:
    """Everything the device has to say by now, its time let pass."""
    said = b""
    while (pending := device.reply()) is not None:
        device.clock.sleep(max(0.0, pending.ready_at - device.clock.now()))
        said += pending.data
        device.take()
    return said


@pytest.mark.parametrize("name", DEVICES)
@given(messages=st.lists(MESSAGES, max_size=4))
def test_no_message_upsets_a_device(name: str, messages: list[str]) -> None:
    """Nothing is raised, and afterwards it still says who it is, or answers what its dialect has instead."""
    device = made(name)
    for message in messages:
        device.receive(message.encode("latin-1"), True)
        heard(device)
        device.clock.sleep(0.1)
    device.device_clear()
    device.clock.sleep(0.1)
    device.receive(NAMELESS.get(name, b"*IDN?"), True)
    answer = heard(device)
    assert answer
    assert device.identity.encode("ascii") in answer


@pytest.mark.parametrize("name", [name for name in DEVICES if name not in ("ps-5", *NAMELESS)])
@given(first=MESSAGES, cuts=st.lists(st.integers(1, 7), max_size=40))
def test_messages_mean_the_same_in_any_pieces(name: str, first: str, cuts: list[int]) -> None:
    """Whole, byte by byte, in any pieces, and with the beginning of the next message behind it."""
    data = first.encode("latin-1") + b"\n*ESE?\n"
    answers = []
    for pieces in ([len(data)], [1] * len(data), cuts):
        device, rest = made(name), data
        for count in pieces:
            device.receive(rest[:count], False)
            rest = rest[count:]
        device.receive(rest + b"*ID", False)
        answers.append(heard(device))
        device.receive(b"N?\n", False)
        answers[-1] += heard(device)
    assert answers[0] == answers[1] == answers[2]
