"""What a bench lacks of its safety must be accepted by name, and then a person must be there."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.documents.gathered import Documents, read_documents
from autobench.documents.places import find_bench, find_driver
from autobench.errors import FileError, UsageError
from autobench.plan import acceptance
from autobench.plan.acceptance import guard_words, lacking, require_accepted, unguarded

SOCKET = "TCPIP::192.168.1.20::5025::SOCKET"


class Files:
    """A bench file with its supply changed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.text = find_bench("simulated").read_text(encoding="utf-8").replace("in-process          #", "no #")

    def address(self, address: str) -> Files:
        self.text = self.text.replace("GPIB0::5::INSTR", address)
        return self

    def accept(self, words: str) -> Files:
        self.text = self.text.replace(
            "    compensate leads: yes\n", f"    compensate leads: yes\n    accept: {words}\n"
        )
        self.text = self.text.replace("yes      # raise", f"yes\n    accept: {words} # raise")
        return self

    def without(self, *actions: str) -> Files:
        """The supply's driver with actions left out."""
        lines = find_driver("ps-3", self.folder).read_text(encoding="utf-8").splitlines()
        kept = [line for line in lines if not any(line.startswith(f"  {action}:") for action in actions)]
        (self.folder / "less.yaml").write_text("\n".join(kept), encoding="utf-8")
        self.text = self.text.replace("driver: ps-3", "driver: less.yaml")
        return self

    def read(self) -> Documents:
        self.path = self.folder / "bench.yaml"
        self.path.write_text(self.text, encoding="utf-8")
        return read_documents("tarnbeck-8", str(self.path), "baseline")


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return Files(tmp_path)


def refused(files: Files, unattended: bool = False) -> str:
    documents = files.read()
    with pytest.raises(UsageError) as caught:
        require_accepted(documents.bench, documents.drivers, ("+5V",), unattended)
    return str(caught.value)


def taken(files: Files, unattended: bool = False) -> Documents:
    documents = files.read()
    require_accepted(documents.bench, documents.drivers, ("+5V",), unattended)
    return documents


def test_a_supply_on_a_raw_socket_needs_nothing(files: Files) -> None:
    """A guard reaches it, its driver lacks nothing: it may even run unattended."""
    documents = taken(files.address(SOCKET), unattended=True)
    assert lacking(documents.bench, documents.drivers["supply"], "supply") == ()
    assert guard_words(documents.bench, ("+5V",)).startswith("guarded")


@pytest.mark.parametrize("address", ["GPIB0::5::INSTR", "USB0::1::2::A::INSTR", "TCPIP::10.0.0.1::hislip0::INSTR"])
def test_a_supply_no_guard_reaches_must_be_accepted(files: Files, address: str) -> None:
    """Without `accept: no guard` the words say what is missing and what to write where."""
    words = refused(files.address(address))
    assert "no guard can switch it off" in words
    assert "accept: no guard" in words
    assert "feeds > +5V" in words


def test_what_is_accepted_needs_a_person(files: Files) -> None:
    """Accepted, it goes with somebody there, says so loudly, and refuses to run unattended."""
    documents = taken(files.accept("no guard"))
    assert unguarded(documents.bench) == ("supply",)
    assert guard_words(documents.bench, ("+5V",)).startswith("NO GUARD for supply")
    assert "--unattended" in refused(files, unattended=True)


@pytest.mark.parametrize(
    ("actions", "name"),
    [
        (("set trip", "set trip?", "clear trip"), "no trip"),
        (("set trip?",), "no read-back"),
        (("set amps?",), "no read-back"),
        (("on?",), "no read-back"),
    ],
)
def test_a_driver_that_lacks_something_must_be_accepted(files: Files, actions: tuple[str, ...], name: str) -> None:
    """A trip or a read-back that is missing is refused until it is accepted by its own name."""
    files.address(SOCKET).without(*actions)
    assert f"accept: {name}" in refused(files)
    taken(files.accept(name))
    assert "--unattended" in refused(files, unattended=True)


def test_another_name_does_not_count(files: Files) -> None:
    """Accepting one lack accepts no other."""
    assert "accept: no guard" in refused(files.accept("no trip, no read-back"))


def test_a_word_that_is_none_of_the_three_is_a_mistake(files: Files) -> None:
    """The bench file takes only the names of what can be missing."""
    with pytest.raises(FileError, match="no guard"):
        files.accept("no fear").read()


def test_a_feed_that_is_not_used_is_not_asked_about(files: Files) -> None:
    """What does not feed this board stays off and needs no acceptance."""
    documents = files.read()
    require_accepted(documents.bench, documents.drivers, (), True)


def test_real_supplies_are_for_linux_only(files: Files, monkeypatch: pytest.MonkeyPatch) -> None:
    """Elsewhere there is no guard at all, whatever is accepted."""
    monkeypatch.setattr(acceptance, "PLATFORM", "win32")
    assert "Linux only" in refused(files.address(SOCKET).accept("no guard"))


def test_the_simulated_bench_needs_no_guard_and_says_so() -> None:
    """In this process the supply ends with the program."""
    documents = read_documents("tarnbeck-8", "simulated", "baseline")
    require_accepted(documents.bench, documents.drivers, ("+5V",), True)
    assert guard_words(documents.bench, ("+5V",)) == "no guard: the bench is simulated inside this program"


def test_the_command_refuses_with_exit_2(files: Files, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """`check` on a bench with an unguarded supply: exit 2 before anything is opened, nothing recorded."""
    files.read()
    records = tmp_path / "r.sqlite"
    assert main(["check", "tarnbeck-8", "--bench", str(files.path), "--records", str(records)]) == 2
    assert "accept: no guard" in capfd.readouterr().err
    assert not records.exists()
