"""The command table: which handler, how many parameters, which numeric suffixes."""

from __future__ import annotations

from typing import Any

import pytest

from autobench.protocols.scpi import ScpiError, parse_message
from simulated_instruments.devices.command_tree import Answer, Command, CommandTree


def scale(device: list[str], channel: int, value: str, unit: str = "V") -> Answer:
    """A handler with a numeric suffix and an optional parameter."""
    device.append(f"{channel} {value} {unit}")
    return None


TREE = CommandTree(
    Command("CHANnel#:SCALe", scale),
    Command("CHANnel#:SCALe?", lambda device, channel: f"{channel} {len(device)}"),
    beneath=CommandTree(Command("CHANnel#:SCALe?", lambda device, channel: "hidden"), Command("*OPC?", lambda _: "1")),
)


def perform(device: Any, message: str) -> Answer:
    """Perform the only unit of a message."""
    (unit,) = parse_message(message)
    return TREE.perform(device, unit)


def test_suffixes_and_parameters_reach_the_handler() -> None:
    """Numeric suffixes come first, then the parameters as sent, left-out ones by the handler's own default."""
    told: list[str] = []
    perform(told, "CHAN2:SCAL 0.5")
    perform(told, "CHANNEL:SCALE 1,MV")
    assert told == ["2 0.5 V", "1 1 MV"]  # from memory of SCPI-1999 vol. 1, 6.2.5.2: a suffix left out is 1


def test_a_table_lies_over_the_one_beneath() -> None:
    """What a class defines itself goes before what it inherits, and the rest is inherited."""
    assert perform([], "CHAN3:SCAL?") == "3 0"
    assert perform([], "*OPC?") == "1"


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("CHAN:SCAL", -109),  # SCPI-1999 vol. 2, 21.8.9
        ("CHAN:SCAL 1,V,3", -108),  # SCPI-1999 vol. 2, 21.8.9
        ("CHAN:SCAL? 1", -108),  # SCPI-1999 vol. 2, 21.8.9
        ("CHAN:OFFS 1", -113),  # SCPI-1999 vol. 2, 21.8.9
        ("*OPC", -113),  # SCPI-1999 vol. 2, 21.8.9: only the query is known
    ],
)
def test_what_the_table_lacks_is_refused(message: str, number: int) -> None:
    """Unknown headers and wrong counts of parameters have the standard's numbers, again and again."""
    for _ in range(2):
        with pytest.raises(ScpiError) as caught:
            perform([], message)
        assert caught.value.number == number
