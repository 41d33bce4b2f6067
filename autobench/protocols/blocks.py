"""Arbitrary block data of IEEE 488.2 (7.7.6, 8.7.9, 8.7.10): bytes in, bytes out, fed in pieces of any size.

The count in the header alone says where a definite block ends; nothing here looks for terminators inside the data, and
nothing here reads from an instrument.
"""

from __future__ import annotations

from autobench.errors import ProtocolError

MOST_BYTES = 1 << 28  # a count beyond this is taken for damage, not for a record
MOST_TEXT = 256  # text that may stand before the `#`


def encode_block(data: bytes) -> bytes:
    """A definite-length block: `#`, how many digits, the count, the data. No terminator is added."""
    count = str(len(data))
    if len(count) > 9:
        raise ProtocolError("a block cannot hold more than 999 999 999 bytes")
    return f"#{len(count)}{count}".encode("ascii") + data


class BlockReader:
    """Reads one block, with any text that stands before its `#`.

    Feed it until `complete`; then `data` is the block's content, `text` what stood before it and `rest` the bytes fed
    beyond its end (a terminator, or something that does not belong to it). An indefinite block (`#0`) is complete only
    with the END flag, and its final newline is not part of it.
    """

    def __init__(self, most: int = MOST_BYTES) -> None:
        self.most = most
        self.complete = False
        self.indefinite = False
        self.text = ""
        self.rest = b""
        self._head = bytearray()  # from the first byte to the end of the count
        self._content: bytes | bytearray = bytearray()
        self._count: int | None = None

    @property
    def data(self) -> bytes:
        """The content; raises `ProtocolError` before the block is complete."""
        if not self.complete:
            raise ProtocolError("the block is not complete yet")
        return bytes(self._content)  # no copy where it came in one piece

    @property
    def wanted(self) -> int:
        """How many bytes can be read now without reading past the block; 0 when complete or when only END can tell."""
        if self.complete or self.indefinite:
            return 0
        if self._count is not None:
            return self._count - len(self._content)
        mark = self._head.find(b"#")
        if mark < 0:
            return 2  # at the least `#` and a digit are still to come
        head = len(self._head) - mark
        return 1 if head == 1 else 2 + (self._head[mark + 1] - ord("0")) - head

    def feed(self, data: bytes, end: bool = False) -> bool:
        """Take the next bytes; `end` says that END came with the last of them. True once the block is complete.

        Raises `ProtocolError` for a malformed header, a count beyond `most`, and END before the count is satisfied.
        """
        if self.complete:
            self.rest += data
            return True
        at = self._feed_head(data)
        if self.indefinite:
            self._feed_indefinite(data[at:], end)
        elif self._count is not None:
            missing = self._count - len(self._content)
            if at == 0 and len(data) == missing and not self._content:
                self._content = data  # a whole record in one piece is kept as it came
            else:
                self._content += data[at : at + missing]
            self.rest = data[at + missing :]
            self.complete = len(self._content) == self._count
        if end and not self.complete:
            raise ProtocolError(f"the message ended inside a block, {self._missing()}")
        return self.complete

    def _missing(self) -> str:
        if self._count is None:
            return "before its length was known"
        return f"after {len(self._content)} of {self._count} bytes"

    def _feed_head(self, data: bytes) -> int:
        """Take bytes into the header until the count is known; how many were taken."""
        at = 0
        while at < len(data) and self._count is None and not self.indefinite:
            self._head.append(data[at])
            at += 1
            self._read_head()
        return at

    def _read_head(self) -> None:
        """Look at the header after one more byte of it."""
        mark = self._head.find(b"#")
        if mark < 0:
            if len(self._head) > MOST_TEXT:
                raise ProtocolError("no block: there is no '#' where one should begin")
            return
        head = bytes(self._head[mark:])
        if len(head) < 2:
            return
        digits = head[1] - ord("0")
        if not 0 <= digits <= 9:
            raise ProtocolError(f"no block: {head[:2]!r} is not '#' and a digit")
        if not head[2:].isdigit() and len(head) > 2:
            raise ProtocolError(f"no block: its length {head[2:]!r} is not a number")
        if digits == 0:
            self.indefinite = True
        elif len(head) == 2 + digits:
            self._count = int(head[2:])
            if self._count > self.most:
                raise ProtocolError(f"a block of {self._count} bytes is more than the {self.most} expected here")
        else:
            return
        self.text = self._head[:mark].decode("latin-1")

    def _feed_indefinite(self, data: bytes, end: bool) -> None:
        self._content += data
        if len(self._content) > self.most + 1:
            raise ProtocolError(f"an indefinite block went on beyond the {self.most} bytes expected here")
        if end:
            if self._content.endswith(b"\n"):
                self._content = self._content[:-1]
            self.complete = True
