"""A stranger's instrument: never seen before, found, proposed and proved without a file being edited by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.cli.entry import run
from autobench.clock import RealClock
from autobench.commissioning import introduction, search
from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.instrument import Device
from tests.drivers.meetings import DEVICES, Contacts, Loads, Source, driver_named
from tests.drivers.square import Square

LONG = pytest.mark.long
TERMINALS = {
    "ps-3": Loads({1: 10.0, 2: 10.0, 3: 10.0}),
    "m-1": Source(0.0, 50.0),
    "w-1": Contacts(),
    "o-1b": Square(),
    "k-1": Square(),
}
RARER = {"o-2": Square(), "o-3b": Square()}


NEWER = {"ps-7": Loads({1: 10.0, 2: 10.0}), "w-2": Contacts(), "w-3": Contacts()}
NAMELESS = {"ps-6": Loads({1: 10.0}), "w-4": Contacts()}
COUSINS = {"ps-3": "ps-1", "m-1": "ps-1", "w-1": "m-1", "o-1b": "o-1a", "o-2": "o-3a", "o-3b": "o-3a", "k-1": "k-2"}
COUSINS |= {"ps-7": "ps-1", "w-2": "w-3", "w-3": "w-2"}


@pytest.mark.parametrize(
    "name", [*TERMINALS, "ps-7", *(pytest.param(name, marks=LONG) for name in (*RARER, "w-2", "w-3"))]
)
def test_a_stranger_is_found_and_proved(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody knows its name; its dialect is known: `find` writes the bench file, and `prove` takes it as it stands."""
    cousin = COUSINS[name]
    monkeypatch.setattr(search, "known_drivers", lambda beside: [driver_named(cousin), driver_named(name)])
    device: Device = DEVICES[name]("it", RealClock(), {**TERMINALS, **RARER, **NEWER}[name], seed=3)
    device.identity = "FAR AWAY WORKS,Q-77,A0042,9.9"
    file, records = tmp_path / "new.yaml", str(tmp_path / "records.sqlite")
    with SocketServer(device) as server:
        assert run(["find", server.address, "--write", str(file)]) == 0
        before = file.read_bytes()
        assert f"driver: {name}\n" in file.read_text(encoding="utf-8")
        assert "serial: 'A0042'" in file.read_text(encoding="utf-8")
        assert run(["prove", str(file), "--records", records]) == 0
        told = capsys.readouterr().err
        assert "FAR AWAY WORKS,Q-77,A0042,9.9" in told
        assert "not proved" in told  # what the file does not say is said
        assert file.read_bytes() == before
        device.identity = "FAR AWAY WORKS,Q-77,A0043,9.9"
        assert run(["prove", str(file), "--records", records]) == 4
        assert "identity: serial number A0042 is wanted" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["ps-6", pytest.param("w-4", marks=LONG)])
def test_one_that_has_no_name_is_found_and_proved_on_its_line(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It does not answer who it is: its dialect is known by its own question, asked when nobody else has answered."""
    monkeypatch.setattr(introduction, "FIRST", 0.05)
    monkeypatch.setattr(introduction, "BAUDS", (9600,))
    monkeypatch.setattr(search, "known_drivers", lambda beside: [driver_named(each) for each in ("m-1", *NAMELESS)])
    file, records = tmp_path / "new.yaml", str(tmp_path / "records.sqlite")
    with PseudoTerminalServer(DEVICES[name]("it", RealClock(), NAMELESS[name], seed=3)) as server:
        assert run(["find", server.path, "--write", str(file)]) == 0
        text = file.read_text(encoding="utf-8")
        assert f"driver: {name}\n" in text
        assert "serial line: 9600 8N1\n" in text
        assert ("accept: no read-back" in text) == (name == "ps-6")
        assert run(["prove", str(file), "--records", records]) == 0
        assert "not proved" in capsys.readouterr().err  # what the file does not say is said


class Mute(Device):
    """An instrument that knows its name and nothing else."""

    model = "Z-0"


def test_a_stranger_of_another_dialect_gets_a_clear_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What answered, that no driver speaks to it, and how to write one; no file."""
    device = Mute("it", RealClock())
    file = tmp_path / "new.yaml"
    with SocketServer(device) as server, pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "known_drivers", lambda beside: [driver_named("ps-3"), driver_named("m-1")])
        assert run(["find", server.address, "--write", str(file)]) == 4
    told = capsys.readouterr().err
    assert "ALDER STREET,Z-0," in told
    assert "'A driver in ten minutes' in drivers/README.md" in told
    assert not file.exists()
