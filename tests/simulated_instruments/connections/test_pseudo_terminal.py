"""The serial line of the simulator, with the serial library as independent client: line ends, silences, prompts."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import serial

from autobench.clock import RealClock
from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.meter_short_words import ShortWordsMeter
from simulated_instruments.devices.supply_fixed_text import FixedTextSupply
from tests.drivers.meetings import Loads, Source


class Plain(Device):
    """An instrument with nothing but the common commands."""

    model = "TEST PLAIN"


Open = Callable[[Device], serial.Serial]


@pytest.fixture
def connect() -> Iterator[Open]:
    """Opens a device's port as any program would."""
    opened: list[Any] = []

    def open_port(device: Device) -> serial.Serial:
        server = PseudoTerminalServer(device)
        server.start()
        port = serial.Serial(server.path, timeout=1.0)
        opened.extend((port, server))
        return port

    yield open_port
    for port, server in zip(opened[::2], opened[1::2], strict=True):
        port.close()
        server.stop()
        server.stop()  # may be called twice


def test_lines_are_answered_by_lines(connect: Open) -> None:
    """Half a line waits for its other half; two lines at once are two messages."""
    device = Plain("plain", RealClock())
    device.identity = "A,B,C,D"
    port = connect(device)
    port.write(b"*ESE 3")
    time.sleep(0.05)
    port.write(b"6\n*ESE?\n*IDN?\n")
    assert port.read_until(b"\n") == b"36\n"
    assert port.read_until(b"\n") == b"A,B,C,D\n"


def test_a_supply_without_line_ends(connect: Open) -> None:
    """Fixed lengths, no terminator, a raw status byte, and what comes too soon is lost (common practice)."""
    port = connect(FixedTextSupply("supply", RealClock(), Loads({1: 10.0}), seed=5))

    def ask(text: bytes, count: int) -> bytes:
        time.sleep(0.08)
        port.write(text)
        return port.read(count)

    time.sleep(0.08)
    port.write(b"VSET1:05.00")
    assert ask(b"VSET1?", 5) == b"05.00"
    time.sleep(0.08)
    port.write(b"ISET1:0.250")
    assert ask(b"ISET1?", 5) == b"0.250"
    assert ask(b"STATUS?", 1)[0] & 0x40 == 0  # bit 6: output
    time.sleep(0.08)
    port.write(b"OUT1")
    assert ask(b"STATUS?", 1)[0] & 0x41 == 0x41  # bit 0: constant voltage
    port.timeout = 0.1
    assert port.read(1) == b""  # nothing follows


def test_a_meter_that_prompts(connect: Open) -> None:
    """It echoes the line, answers, and ends with a prompt that says how it went (common practice)."""
    port = connect(ShortWordsMeter("meter", RealClock(), Source(5.0, 50.0), seed=5))

    def exchange(text: bytes) -> list[bytes]:
        port.write(text)
        lines = []
        while not lines or lines[-1] not in (b"=>", b"?>", b"!>"):
            lines.append(port.read_until(b"\r\n").removesuffix(b"\r\n"))
            assert lines[-1]
        return lines

    assert exchange(b"VDC\r") == [b"VDC", b"=>"]
    assert exchange(b"RANGE 3\r\n") == [b"RANGE 3", b"=>"]
    assert exchange(b"FUNC1?\n") == [b"FUNC1?", b"VDC", b"=>"]
    assert exchange(b"CONF:VOLT 10\r") == [b"CONF:VOLT 10", b"?>"]
    assert exchange(b"RANGE 9\r") == [b"RANGE 9", b"!>"]
    echo, reading, prompt = exchange(b"MEAS1?\r")
    assert (echo, prompt) == (b"MEAS1?", b"=>")
    assert float(reading) == pytest.approx(5.0, rel=1e-3)
    assert b"E+0" in reading
    port.write(b"MEAS\x03")
    assert port.read_until(b"\r\n") == b"=>\r\n"
