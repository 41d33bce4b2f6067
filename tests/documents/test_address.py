"""Which connections a second process can send over."""

from __future__ import annotations

import pytest

from autobench.documents.address import can_be_guarded, share_a_bus


@pytest.mark.parametrize(
    "address",
    [
        "TCPIP::192.168.1.20::5025::SOCKET",  # the forms are those of VPP-4.3, 4.3.1.1
        "tcpip0::bench-supply::5025::socket",
        "TCPIP::::1::5025::SOCKET",
        "ASRL/dev/ttyUSB0::INSTR",
        "ASRL3::INSTR",
    ],
)
def test_raw_sockets_and_serial_lines_can_be_guarded(address: str) -> None:
    """Bytes put on them are what the instrument gets."""
    assert can_be_guarded(address)


@pytest.mark.parametrize(
    "address",
    [
        "GPIB0::5::INSTR",
        "USB0::0x1234::0x5678::A1::INSTR",
        "TCPIP::192.168.1.20::hislip0::INSTR",
        "TCPIP::192.168.1.20,1024::inst0::INSTR",
        "TCPIP::192.168.1.20::INSTR",
        "PRLGX-TCPIP::192.168.1.20::1234::INTFC",
        "TCPIP::192.168.1.20::SOCKET",
        "",
    ],
)
def test_everything_else_cannot(address: str) -> None:
    """One opener, or messages that are wrapped or numbered."""
    assert not can_be_guarded(address)


@pytest.mark.parametrize(
    ("addresses", "shared"),
    [
        (["GPIB0::5::INSTR", "gpib0::22::INSTR"], True),
        (["GPIB0::5::INSTR", "GPIB1::22::INSTR"], False),
        (["TCPIP::127.0.0.1::5025::SOCKET", "TCPIP::127.0.0.1::5026::SOCKET", "ASRL/dev/ttyUSB0::INSTR"], False),
    ],
)
def test_instruments_on_one_bus_are_known(addresses: list[str], shared: bool) -> None:
    """IEEE 488.1: all devices of one bus share its data lines, one talker at a time; a socket each has its own way."""
    assert share_a_bus(addresses) is shared
