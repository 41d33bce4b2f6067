"""Circuit files: the one that comes with the simulator, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.errors import FileError
from simulated_instruments.board.circuit_file import circuit_path, list_circuits, read_circuit

SHIPPED = circuit_path("tarnbeck-8").read_text(encoding="utf-8")


def changed(folder: Path, old: str, new: str) -> Path:
    """A copy of the shipped circuit with one text replaced."""
    assert old in SHIPPED
    path = folder / "changed.yaml"
    path.write_text(SHIPPED.replace(old, new, 1), encoding="utf-8")
    return path


def test_the_shipped_circuit_has_the_parts_of_the_board() -> None:
    """CPU in a socket, eight RAMs, inlet, switch, bulk capacitor and nineteen decouplers are there, with their pins."""
    circuit = read_circuit(circuit_path("tarnbeck-8"))
    points = circuit.points()
    assert {"J1.1", "J1.2", "SW1.2", "U1.11", "U1.29", "U18.8", "U18.16"} <= points.keys()
    assert [name for name, part in circuit.parts.items() if part.kind == "dram"] == [f"U{n}" for n in range(11, 19)]
    assert list(circuit.capacitors) == [f"C{n}" for n in range(1, 21)]
    assert circuit.capacitors["C1"].farads == pytest.approx(1000e-6)
    assert points["U1.11"] == "U1.11"  # behind its socket's contact
    assert list_circuits() == ["orrin-tk", "pellin-600", "tarnbeck-8", "wexcombe-2"]


def test_scalars_are_read_as_written(tmp_path: Path) -> None:
    """A value with another prefix is the same value."""
    path = changed(tmp_path, "unpowered: 120 ohm", "unpowered: 0.12 kohm")
    assert read_circuit(path).unpowered == pytest.approx(120.0)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("unpowered: 120 ohm", "unpowered: 120 V", "in V, but ohm is wanted"),
        ("unpowered: 120 ohm", "unpowered: -3 ohm", "more than 0"),
        ("unpowered: 120 ohm", "unpowerd: 120 ohm", "unknown here"),
        ("ohms: 74 mohm", "ohms: 0 ohm", "more than 0"),
        ("C20: {kind: ceramic, from: +5V.far", "C20: {kind: ceramic, from: +5V.fra", "no copper reaches"),
        ("    default: late", "    default: lat", "not one of the choices"),
        ("early: {U2:", "early: {U99:", "no such part"),
        ("supply: 11, ground: 29", "supply: 12, ground: 29", "not one of the pins"),
        ("  C2: {", "  C1: {", "written twice"),
        ("C3: {kind: ceramic", "C3: &x {kind: ceramic", "aliases are not used"),
    ],
)
def test_a_wrong_circuit_file_is_refused_with_file_line_and_words(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    """Every kind of mistake names the file, a line and what is wrong."""
    path = changed(tmp_path, old, new)
    if "&x" in new:
        path.write_text(path.read_text(encoding="utf-8").replace("C4: {kind", "C4: *x\n  C4b: {kind"), encoding="utf-8")
    with pytest.raises(FileError, match=words) as caught:
        read_circuit(path)
    mistake = caught.value.mistakes[0]
    assert mistake.file == str(path)
    assert mistake.line > 0


def test_a_missing_file_and_one_that_is_not_yaml_are_refused(tmp_path: Path) -> None:
    """Both are file errors with words."""
    with pytest.raises(FileError, match="cannot be read"):
        read_circuit(tmp_path / "none.yaml")
    path = tmp_path / "broken.yaml"
    path.write_text("circuit: [", encoding="utf-8")
    with pytest.raises(FileError, match="is not YAML"):
        read_circuit(path)
    path.write_text("- a list\n", encoding="utf-8")
    with pytest.raises(FileError, match="a mapping"):
        read_circuit(path)


def test_a_file_that_was_changed_is_read_again(tmp_path: Path) -> None:
    """Keeping what was read does not hide a change of the file."""
    path = changed(tmp_path, "unpowered: 120 ohm", "unpowered: 130 ohm")
    assert read_circuit(path).unpowered == pytest.approx(130.0)
    changed(tmp_path, "unpowered: 120 ohm", "unpowered: 14000 mohm")
    assert read_circuit(path).unpowered == pytest.approx(14.0)
