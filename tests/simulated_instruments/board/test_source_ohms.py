"""What a small current driven into a net feels: the stage that holds it."""

from __future__ import annotations

import numpy as np
import pytest

from simulated_instruments.board.levels import FIGHT, HIGH, LOW, SHORT, UNDRIVEN
from simulated_instruments.board.palettes import Palettes
from simulated_instruments.board.source_ohms import code_ohms, source_ohms, undriven_ohms
from simulated_instruments.board.tolerance import Tolerance

TOLERANCE = Tolerance(3)


@pytest.mark.parametrize("net", ["ROMCS", "RD", "A3", "D5", "RESET", "CPUCLK"])
def test_a_driven_net_is_some_tens_of_ohms_to_either_side(net: str) -> None:
    """Outputs of all families; two that fight are less than either, a short is next to nothing."""
    ohms = code_ohms(TOLERANCE, net)
    assert 20.0 < ohms[LOW] < 160.0  # common practice
    assert 50.0 < ohms[HIGH] < 160.0  # common practice: 130 Ω above, in an LS output
    assert 1.0 / ohms[FIGHT] == pytest.approx(1.0 / ohms[LOW] + 1.0 / ohms[HIGH])  # resistors in parallel
    assert ohms[SHORT] < ohms[FIGHT]


def test_an_mos_output_keeps_its_low_level_under_its_rated_current() -> None:
    """1.8 mA into a low line of the CPU stay below 0.4 V (data sheets of class R CPUs, from memory)."""
    assert code_ohms(TOLERANCE, "FETCH")[LOW] * 1.8e-3 <= 0.4


@pytest.mark.parametrize(
    ("net", "low", "high"),
    [
        ("WAIT", 1e3, 1e4),  # common practice: pull-ups of 1 kΩ to 10 kΩ
        ("ROMCS", 1e4, 3e4),  # LS input: 18 kΩ to 20 kΩ to its rail (data books, from memory)
        ("M3", 1e6, 1e8),  # common practice: an MOS input leaks microamperes at most
        ("VIDEO", 75.0, 75.0),  # ITU-R BT.1700: composite video, 75 Ω
    ],
)
def test_an_undriven_net_is_what_is_left(net: str, low: float, high: float) -> None:
    """Pull-up, inputs, or leakage."""
    assert low <= undriven_ohms(TOLERANCE, net) <= high


@pytest.mark.parametrize("net", ["ROMCS", "D5", "M3", "CPUCLK", "RESET"])
def test_the_level_tells_what_drives_the_net(net: str) -> None:
    """Each level of the net's own palette, a little off, gives the resistance of its driver."""
    palette = Palettes(TOLERANCE).of(net)
    codes = np.array([LOW, HIGH, UNDRIVEN, LOW])
    found = source_ohms(TOLERANCE, net, palette, palette.targets[codes] + 0.003)
    pull_up_is_high = net == "D5"  # its high level and its pull-up are a volt apart, both are told
    assert found[0] == found[3] == code_ohms(TOLERANCE, net)[LOW]
    assert found[1] == code_ohms(TOLERANCE, net)[HIGH]
    assert found[2] == undriven_ohms(TOLERANCE, net)
    assert not pull_up_is_high or found[1] != found[2]
