"""The logic section of a circuit file: what is refused, and by which line."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.errors import FileError
from simulated_instruments.board.circuit_file import circuit_path, read_circuit
from simulated_instruments.board.cpu_class_r import static_code
from simulated_instruments.board.levels import HIGH, LOW
from simulated_instruments.board.program import BUS_REQUESTED, HELD, WAITING


def changed(folder: Path, old: str, new: str) -> Path:
    text = circuit_path("pellin-600").read_text(encoding="utf-8")
    assert old in text
    path = folder / "circuit.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return path


def test_the_shipped_logic_is_read() -> None:
    """Clocks, waits, controller writes and the nets of the CPU's pins are those of the schematic."""
    circuit = read_circuit(circuit_path("pellin-600"))
    assert circuit.signals is not None
    assert (circuit.signals.master, circuit.signals.divided) == (12e6, {"CPUCLK": 4, "CHARCLK": 16})
    assert (circuit.signals.aligned, circuit.signals.registers) == (4, (14, 18))
    points = circuit.logic_points()
    data = [points[f"U1.{pin}"] for pin in (14, 15, 12, 8, 7, 9, 10, 13)]  # the CPU's data sheet, from memory
    assert data == [f"D{bit}" for bit in range(8)]
    assert [points[f"U1.{pin}"] for pin in (*range(30, 41), *range(1, 6))] == [f"A{bit}" for bit in range(16)]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("cpu clock: CPUCLK", "cpu clock: CLK", "not one of the divided clocks"),
        ("timing: programmable", "timing: free", "neither fixed nor programmable"),
        ("clock: CHARCLK", "clock: DOTCLK", "not one of the divided clocks"),
        ("controller writes: 14 .. 18", "controller writes: 18 .. 14", "span of whole numbers"),
        ("register: 34", "registers: 34", "unknown work"),
        ("register: 34", "register: -1", "less than 0"),
        ("frequency: 12 MHz", "frequency: 12 V", "in V, but Hz is wanted"),
        ("nominal: 12 V, unpowered: 3.3 kohm", "nominal: 12 V, unpowered: 0 ohm", "more than 0"),
    ],
)
def test_a_mistake_is_named_with_its_line(tmp_path: Path, old: str, new: str, words: str) -> None:
    """What cannot be is refused in words, at the line where it stands."""
    path = changed(tmp_path, old, new)
    line = next(number for number, text in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if new in text)
    with pytest.raises(FileError, match=words) as caught:
        read_circuit(path)
    assert f":{line}" in str(caught.value)


@pytest.mark.parametrize(
    ("state", "low"), [(HELD, set()), (WAITING, {"FETCH", "MEMREQ", "RD"}), (BUS_REQUESTED, {"BUSAK"})]
)
def test_a_cpu_that_is_made_to_stand_still_shows_how(state: str, low: set[str]) -> None:
    """Held in reset nothing is active; waiting the read it is in; with the bus given away the acknowledge."""
    pins = ("FETCH", "MEMREQ", "RD", "WR", "REFRESH", "HALT", "BUSAK")
    assert {pin for pin in pins if static_code(state, pin) == LOW} == low  # from memory
    assert all(static_code(state, pin) in (LOW, HIGH) for pin in pins)
