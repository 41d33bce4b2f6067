"""The command `autobench find`: its file, its exit codes, and what it says."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.cli.entry import run
from autobench.clock import RealClock
from autobench.commissioning import search
from autobench.documents.gathered import read_bench_file
from simulated_instruments.connections.raw_socket import SocketServer
from tests.drivers.meetings import DEVICES, Loads, driver_named


@pytest.fixture
def few_drivers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two drivers only, since each one that does not fit takes a while in real time."""
    monkeypatch.setattr(search, "known_drivers", lambda beside: [driver_named("ps-1"), driver_named("ps-3")])


@pytest.mark.usefixtures("few_drivers")
def test_a_bench_file_is_written_and_never_over_another(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file reads without a mistake; a second time it is refused before anything is opened."""
    file = tmp_path / "my corner.yaml"
    with SocketServer(DEVICES["ps-3"]("supply", RealClock(), Loads({1: 10.0}), seed=3)) as server:
        number = server.address.split("::")[2]
        assert run(["find", number, "--write", str(file), "--mains", "60"]) == 0
        told = capsys.readouterr()
        assert told.out == ""
        assert "SCPI supply with channel lists (ps-3)" in told.err
        bench, _ = read_bench_file(str(file))
        assert (bench.bench, bench.line_frequency.value) == ("my-corner", 60.0)
        before = file.read_bytes()
        assert run(["find", number, "--write", str(file)]) == 2
        assert "is there already; it is not written over" in capsys.readouterr().err
        assert file.read_bytes() == before
        assert run(["find", number]) == 0
        assert "driver: ps-3" in capsys.readouterr().out


def test_nothing_is_written_where_a_port_fails(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 4, the layer by name, and no file."""
    file = tmp_path / "corner.yaml"
    assert run(["find", "/dev/ttyNOWHERE9", "--write", str(file)]) == 4
    told = capsys.readouterr().err
    assert "/dev/ttyNOWHERE9: port: there is no such port" in told
    assert not file.exists()


def test_the_network_is_a_word_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    """A port of another machine without --network is refused, and so is a word that is no port."""
    assert run(["find", "bench-meter:5025"]) == 2
    assert "without --network" in capsys.readouterr().err
    assert run(["find", "meter"]) == 2
    assert "is no port" in capsys.readouterr().err


def test_without_a_port_it_only_tells_what_is_plugged_in(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is opened."""
    assert run(["find"]) == 0
    assert "nothing was opened" in capsys.readouterr().err
