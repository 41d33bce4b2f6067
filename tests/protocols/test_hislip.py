"""HiSLIP messages, fed whole, byte by byte and with a trailing rest; the independent reference is the VISA back end."""

from __future__ import annotations

import contextlib
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyvisa_py.protocols import hislip as reference

from autobench.errors import ProtocolError
from autobench.protocols.hislip import HEADER, HislipMessage, HislipReader, Kind

CASES = [
    # IVI-6.1, 2.3: prologue, type, control code, parameter, length of the payload, payload
    (HislipMessage(Kind.INITIALIZE, 0, 0x0100_4142, b"hislip0"), b"HS\x00\x00\x01\x00AB" + bytes(7) + b"\x07hislip0"),
    (
        HislipMessage(Kind.DATA_END, 1, 0xFFFF_FF00, b"*IDN?\n"),
        b"HS\x07\x01\xff\xff\xff\x00" + bytes(7) + b"\x06*IDN?\n",
    ),
    (HislipMessage(Kind.ASYNC_STATUS_RESPONSE, 0x50), b"HS\x16\x50" + bytes(12)),
    (HislipMessage(Kind.DATA, 0, 2, b""), b"HS\x06\x00\x00\x00\x00\x02" + bytes(8)),
]


@pytest.mark.parametrize(("message", "data"), CASES)
def test_messages_are_written_as_the_standard_says(message: HislipMessage, data: bytes) -> None:
    """Header and payload byte for byte."""
    assert message.encoded() == data


@pytest.mark.parametrize(("message", "data"), CASES)
def test_messages_are_read_however_they_arrive(message: HislipMessage, data: bytes) -> None:
    """Whole, byte by byte, and with the beginning of the next one behind it."""
    assert HislipReader().feed(data) == [message]
    slow = HislipReader()
    found = [message for place in range(len(data)) for message in slow.feed(data[place : place + 1])]
    assert found == [message]
    rested = HislipReader()
    assert rested.feed(data + data[:5]) == [message]
    assert rested.rest == 5
    assert rested.feed(data[5:]) == [message]


def test_types_and_header_are_those_of_an_independent_client() -> None:
    """Every message type has the number the VISA back end gives it, and the header the same layout."""
    ours = {kind.name.replace("_", ""): int(kind) for kind in Kind}
    theirs = {
        name.upper().replace("MAXMSGSIZE", "MAXIMUMMESSAGESIZE"): kind for name, kind in reference.MESSAGETYPE.items()
    }
    assert ours == {name: theirs[name] for name in ours}
    assert HEADER.format == reference.HEADER_FORMAT


@pytest.mark.parametrize(
    "data", [b"XS" + bytes(14), b"H\x00", b"\x00", HEADER.pack(b"HS", 6, 0, 0, 1 << 40), b"GET / HTTP/1.1\r\n\r\n"]
)
def test_what_is_no_message_is_refused(data: bytes) -> None:
    """A wrong prologue or an absurd length is refused at once, before anything is waited for."""
    with pytest.raises(ProtocolError):
        HislipReader().feed(data)


@given(st.lists(st.binary(max_size=60), max_size=6))
def test_any_bytes_give_messages_or_the_named_error(pieces: list[bytes]) -> None:
    """Whatever arrives, in whatever pieces, nothing but `ProtocolError` is raised."""
    reader = HislipReader()
    with contextlib.suppress(ProtocolError):
        for piece in pieces:
            for message in reader.feed(piece):
                assert 0 <= message.kind <= 255


@given(
    st.lists(st.tuples(st.integers(0, 255), st.integers(0, 255), st.integers(0, 2**32 - 1), st.binary(max_size=50))),
    st.lists(st.integers(1, 30), max_size=30),
)
def test_any_cut_gives_the_same_messages(parts: list[tuple[int, int, int, bytes]], cuts: list[int]) -> None:
    """However a stream is cut into pieces, the same messages come out."""
    messages = [HislipMessage(*part) for part in parts]
    data = b"".join(message.encoded() for message in messages)
    reader, found = HislipReader(), []
    for cut in cuts:
        found += reader.feed(data[:cut])
        data = data[cut:]
    found += reader.feed(data)
    assert found == messages
    assert reader.rest == 0


def test_the_length_has_eight_bytes() -> None:
    """IVI-6.1, 2.3: a 64-bit length, so that a record of any size is one message."""
    assert HislipMessage(Kind.DATA, payload=bytes(300)).header()[8:] == struct.pack("!Q", 300)
