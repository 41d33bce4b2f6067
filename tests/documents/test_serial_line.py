"""How a bench file says how a serial line is set."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.bench import Bench
from autobench.documents.fields import WrongTextError
from autobench.documents.reading import read
from autobench.documents.serial_line import SerialLine, read_serial_line
from autobench.errors import FileError
from autobench.instruments.back_end import line_settings

BENCH = """bench: corner
words: one meter
simulated: no
line frequency: 50 Hz
instruments:
  meter: {driver: m-2, address: ADDRESS, serial line: 4800 7E2}
"""


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("9600", SerialLine(9600)),
        ("9600 8N1", SerialLine(9600, 8, "N", 1)),
        ("4800 7E2", SerialLine(4800, 7, "E", 2)),
        ("115200 8O1", SerialLine(115200, 8, "O", 1)),
    ],
)
def test_a_setting_is_read_and_written_the_same(text: str, line: SerialLine) -> None:
    """Speed alone means eight bits, no parity, one stop bit (common practice)."""
    assert read_serial_line(text) == line
    assert read_serial_line(str(line)) == line


@pytest.mark.parametrize("text", ["", "9600 8N", "9600 9N1", "9600 8N3", "fast", "9600  8N1", "-9600", "9600 8n1"])
def test_anything_else_is_refused(text: str) -> None:
    """With the form that is wanted."""
    with pytest.raises(WrongTextError, match="write it like '9600 8N1'"):
        read_serial_line(text)


def test_only_serial_lines_have_one(tmp_path: Path) -> None:
    """Said of an address on a socket it is a mistake, on the line of the key."""
    file = tmp_path / "corner.yaml"
    file.write_text(BENCH.replace("ADDRESS", "ASRL/dev/ttyUSB0::INSTR"), encoding="utf-8")
    assert read(file, Bench).instruments["meter"].serial_line == SerialLine(4800, 7, "E", 2)
    file.write_text(BENCH.replace("ADDRESS", "TCPIP::meter::5025::SOCKET"), encoding="utf-8")
    with pytest.raises(FileError, match=r"corner.yaml:6: .*TCPIP::meter::5025::SOCKET is no serial line: delete it"):
        read(file, Bench)


def test_the_back_end_is_told_all_of_it() -> None:
    """Speed, bits, parity and stop bits as VISA names them (VPP-4.3, section 3.3)."""
    told = line_settings(SerialLine(4800, 7, "E", 2))
    assert (told["baud_rate"], told["data_bits"]) == (4800, 7)
    assert (told["parity"].name, told["stop_bits"].name) == ("even", "two")
