"""Reset pulses against the closed forms of an RC."""

from __future__ import annotations

import pytest

from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.reset import charge_time, timer_width


@pytest.mark.parametrize(
    ("volts", "milliseconds"), [(0.8, 17.435), (1.7, 41.552), (2.0, 51.083), (10.0 / 3.0, 109.861)]
)
def test_a_capacitor_charges_as_it_should(volts: float, milliseconds: float) -> None:
    """10 kΩ into 10 µF toward 5 V."""
    assert charge_time(10e3, 10e-6, 0.0, 5.0, volts) == pytest.approx(milliseconds * 1e-3, rel=1e-4)  # RC·ln(V∞/(V∞−V))


def test_a_timer_takes_about_1_1_rc() -> None:
    """47 kΩ and 10 µF hold reset for 0.52 s."""
    assert timer_width(47e3, 10e-6) == pytest.approx(1.1 * 0.47, rel=0.002)  # common practice: t = 1.1 RC
    assert timer_width(47e3, 10e-6) == pytest.approx(0.52, abs=0.005)  # from memory


def test_the_boards_reset_is_held_by_its_timers_parts() -> None:
    """200 kΩ and 1 µF make the 220 ms of the board."""
    assert read_circuit(circuit_path("tarnbeck-8")).start_up.reset == pytest.approx(0.220, rel=0.002)  # 1.1 RC
