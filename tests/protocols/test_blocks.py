"""Arbitrary blocks of IEEE 488.2, fed whole, byte by byte and with a trailing rest."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autobench.errors import ProtocolError
from autobench.protocols.blocks import BlockReader, encode_block

CASES = [
    # message, text before, content, rest; IEEE 488.2 7.7.6 and 8.7.9
    (b"#15HELLO", "", b"HELLO", b""),
    (b"#3005HELLO", "", b"HELLO", b""),
    (b"#9000000005HELLO\n", "", b"HELLO", b"\n"),
    (b"#10\n", "", b"", b"\n"),
    (b"#213thirteenbytes\r\n", "", b"thirteenbytes"[:13], b"\r\n"),
    (b"#14\n#\n;\n", "", b"\n#\n;", b"\n"),
    (b":CURVE #3004\x00\xff\n#\n", ":CURVE ", b"\x00\xff\n#", b"\n"),
]


@pytest.mark.parametrize(("message", "text", "content", "rest"), CASES)
def test_definite_blocks_by_exact_count(message: bytes, text: str, content: bytes, rest: bytes) -> None:
    """The count alone ends a block, however its bytes arrive; what follows is kept apart."""
    whole = BlockReader()
    assert whole.feed(message, end=True)
    slow = BlockReader()
    for place in range(len(message)):
        slow.feed(message[place : place + 1])
    for reader in (whole, slow):
        assert (reader.text, reader.data, reader.rest) == (text, content, rest)


def test_an_indefinite_block_lasts_until_end() -> None:
    """`#0` is complete with END only, and its final newline is not data."""
    reader = BlockReader()
    assert not reader.feed(b"#0ab\n")
    assert not reader.feed(b"cd\n")
    assert reader.feed(b"e\n", end=True)
    assert reader.data == b"ab\ncd\ne"  # IEEE 488.2 8.7.10


def test_wanted_never_asks_for_a_byte_too_many() -> None:
    """Reading what is wanted, piece by piece, ends exactly at the block's last byte."""
    message = b"#3005HELLO"
    reader, at = BlockReader(), 0
    while not reader.complete:
        assert reader.wanted > 0
        piece = message[at : at + reader.wanted]
        at += len(piece)
        reader.feed(piece)
    assert (at, reader.data, reader.rest, reader.wanted) == (len(message), b"HELLO", b"", 0)


@pytest.mark.parametrize("message", [b"#15HELL", b"#", b"#2", b"#9000000", b"1.5\n", b"#0"[:1]])
def test_end_before_the_count_is_an_error(message: bytes) -> None:
    """END inside a block is never taken for its end."""
    with pytest.raises(ProtocolError, match="ended inside a block"):
        BlockReader().feed(message, end=True)  # SCPI-1999 vol. 2, 21.8.9: -161


@pytest.mark.parametrize("message", [b"#x", b"#2a5", b"#21 ", b"x" * 300, b"#9999999999"])
def test_what_is_no_block_is_refused(message: bytes) -> None:
    """A wrong count, a missing mark or an absurd length is refused at once."""
    with pytest.raises(ProtocolError):
        BlockReader().feed(message)


def test_data_before_completion_is_refused() -> None:
    """The content of an unfinished block cannot be taken."""
    reader = BlockReader()
    reader.feed(b"#15HEL")
    with pytest.raises(ProtocolError, match="not complete"):
        _ = reader.data


def test_an_indefinite_block_is_bounded() -> None:
    """A device that never ends cannot fill the memory."""
    reader = BlockReader(most=10)
    reader.feed(b"#0" + b"x" * 11)  # ten and a newline may still come to an end
    with pytest.raises(ProtocolError, match="beyond"):
        reader.feed(b"x")


def test_encoding_matches_the_published_form() -> None:
    """A count of 80 has two digits, and an empty block is legal."""
    assert encode_block(bytes(80))[:4] == b"#280"  # IEEE 488.2 8.7.9
    assert encode_block(b"HELLO") == b"#15HELLO"  # IEEE 488.2 8.7.9
    assert encode_block(b"") == b"#10"  # IEEE 488.2 8.7.9


@given(st.binary(max_size=300), st.lists(st.integers(1, 40), max_size=20), st.binary(max_size=5))
def test_any_cut_gives_the_same_block(data: bytes, cuts: list[int], rest: bytes) -> None:
    """However a message is cut into pieces, content and rest come out the same."""
    message = encode_block(data) + rest
    reader = BlockReader()
    for cut in cuts:
        reader.feed(message[:cut])
        message = message[cut:]
    reader.feed(message)
    assert (reader.data, reader.rest) == (data, rest)


@given(st.lists(st.binary(max_size=20), max_size=8))
def test_no_bytes_raise_anything_but_the_named_error(pieces: list[bytes]) -> None:
    """Whatever arrives, the reader goes on, finishes, or raises ProtocolError."""
    reader = BlockReader()
    try:
        for piece in pieces:
            reader.feed(piece)
        reader.feed(b"", end=True)
    except ProtocolError:
        assert not reader.complete
