"""A round is killed, frozen, stopped or robbed at every phase: OFF reaches the supply within a second, nothing is lost.

By the simulator's own truth, in real time, with the round as a process of its own. One second is what design and
issue ask for.
"""

from __future__ import annotations

import resource
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.kill_stand import PHASES, KillStand

WITHIN = 1.0  # s
LEASE = 0.7  # s, what the README promises of a frozen program
INSTRUMENTS = ("supply", "meter", "relays", "scope")


@pytest.fixture
def stands(tmp_path: Path) -> Iterator[list[KillStand]]:
    made: list[KillStand] = []
    yield made
    for stand in made:
        stand.close()


def begun(stands: list[KillStand], folder: Path, phase: str, transport: str = "socket") -> KillStand:
    """A round that has just come to `phase`."""
    stand = KillStand(folder, transport)
    stands.append(stand)
    stand.start()
    stand.until(phase)
    return stand


class First:
    """True so many times, then false: a supply that ignores the first commands to switch off."""

    def __init__(self, times: int) -> None:
        self.left = times

    def __bool__(self) -> bool:
        self.left -= 1
        return self.left >= 0


def killed(stand: KillStand) -> None:
    """SIGKILL: off within a second, every shown reading kept, the run stopped."""
    assert stand.process is not None
    at = time.monotonic()
    stand.process.kill()
    assert stand.seconds_to_off(at) < WITHIN
    assert stand.finish() == -signal.SIGKILL
    shown, kept = stand.readings_shown(), stand.readings_kept()
    assert kept[: len(shown)] == shown
    assert stand.row()[0] == "stopped"


def frozen(stand: KillStand) -> None:
    """SIGSTOP: off within a second; on waking the run finds out and ends as stopped, in words."""
    assert stand.process is not None
    at = time.monotonic()
    stand.process.send_signal(signal.SIGSTOP)
    assert stand.seconds_to_off(at) < WITHIN
    time.sleep(LEASE)
    stand.process.send_signal(signal.SIGCONT)
    code = stand.finish()
    assert stand.readings_kept() == stand.readings_shown()
    verdict, reason = stand.row()
    if code == 4:  # else everything was off already when it was frozen, and nothing was lost
        assert verdict == "stopped"
        assert "stood still" in (reason or "")
    assert not stand.served.truth().any_on


@pytest.mark.parametrize(("transport", "phase"), [("socket", "measuring"), ("pty", "measuring")])
def test_a_killed_run_is_switched_off(stands: list[KillStand], tmp_path: Path, transport: str, phase: str) -> None:
    """SIGKILL, over every transport."""
    killed(begun(stands, tmp_path, phase, transport))


def test_a_frozen_run_is_switched_off(stands: list[KillStand], tmp_path: Path) -> None:
    """SIGSTOP while the board is on."""
    frozen(begun(stands, tmp_path, "waiting"))


def test_a_supply_that_ignores_the_first_off_gets_another(stands: list[KillStand], tmp_path: Path) -> None:
    """The guard cannot look whether OFF worked, so it says it more than once."""
    stand = begun(stands, tmp_path, "waiting")
    stand.supply.ignores_off = First(2)  # type: ignore[attr-defined]  # a switch of this one device
    killed(stand)


@pytest.mark.long
@pytest.mark.parametrize("transport", ["socket", "one connection", "pty"])
@pytest.mark.parametrize("phase", PHASES)
def test_killed_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """SIGKILL × every phase × every transport."""
    killed(begun(stands, tmp_path, phase, transport))


@pytest.mark.long
@pytest.mark.parametrize("transport", ["socket", "one connection", "pty"])
@pytest.mark.parametrize("phase", PHASES)
def test_frozen_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """SIGSTOP × every phase × every transport."""
    frozen(begun(stands, tmp_path, phase, transport))


@pytest.mark.long
@pytest.mark.parametrize("transport", ["socket", "pty"])
@pytest.mark.parametrize("signals", [(signal.SIGTERM,), (signal.SIGINT,) * 3, (signal.SIGHUP,)])
@pytest.mark.parametrize("phase", PHASES)
def test_asked_to_stop_at_every_phase(
    stands: list[KillStand], tmp_path: Path, phase: str, signals: tuple[signal.Signals, ...], transport: str
) -> None:
    """SIGTERM, Ctrl-C three times and a closed terminal: off within a second, exit 4, every reading kept."""
    stand = begun(stands, tmp_path, phase, transport)
    assert stand.process is not None
    at = time.monotonic()
    for number in signals:
        stand.process.send_signal(number)
    assert stand.seconds_to_off(at) < WITHIN
    assert stand.finish() == 4
    assert stand.readings_kept() == stand.readings_shown()
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@pytest.mark.parametrize("phase", PHASES)
def test_a_record_with_a_defect_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str) -> None:
    """The record raises what nobody foresaw: off within a second, exit 4; what it took before is kept."""
    stand = begun(stands, tmp_path, phase)
    at = time.monotonic()
    stand.spoil.touch()
    assert stand.seconds_to_off(at) < WITHIN
    assert stand.finish() == 4
    assert "END stopped the record failed: ValueError: a defect of the record" in stand.shown
    kept = stand.readings_kept()
    assert kept == stand.readings_shown()[: len(kept)]
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@pytest.mark.parametrize("phase", PHASES)
def test_a_full_disk_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str) -> None:
    """Not one byte more can be written: off within a second, exit 4, in words; what was kept before can be read."""
    stand = begun(stands, tmp_path, phase)
    assert stand.process is not None
    at = time.monotonic()
    # A write beyond this size fails as on a full disk (setrlimit(2), RLIMIT_FSIZE).
    resource.prlimit(stand.process.pid, resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))
    assert stand.seconds_to_off(at) < WITHIN
    assert stand.finish() == 4
    assert any(line.startswith("END stopped the record cannot be written") for line in stand.shown)
    kept, shown = stand.readings_kept(), stand.readings_shown()
    assert kept == shown[: len(kept)]
    assert len(kept) >= len(shown) - 1  # the one it failed on was shown, with the words that it is not kept
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@pytest.mark.parametrize("phase", PHASES)
def test_a_view_whose_stream_is_gone_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str) -> None:
    """Whoever read our output went away: the round goes on without that view and ends off, everything kept."""
    stand = begun(stands, tmp_path, phase)
    assert stand.process is not None
    assert stand.process.stdout is not None
    stand.process.stdout.close()
    stand.process.wait(30)
    assert not stand.served.truth().any_on
    assert stand.readings_kept()[: len(stand.readings_shown())] == stand.readings_shown()
    assert stand.row()[1] is None


@pytest.mark.long
@pytest.mark.parametrize("name", INSTRUMENTS)
@pytest.mark.parametrize("phase", PHASES)
def test_a_dropped_link_at_every_phase(stands: list[KillStand], tmp_path: Path, phase: str, name: str) -> None:
    """An instrument's connection breaks: whoever needs it stops the run within a second, and nothing stays on."""
    stand = begun(stands, tmp_path, phase)
    at = time.monotonic()
    stand.served.drop_connections(name)
    code = stand.finish()
    assert not stand.served.truth().any_on
    if name == "supply" and phase != "powering down":
        assert code == 4
        assert name in (stand.row()[1] or "")
        assert stand.seconds_to_off(at) < WITHIN
    assert stand.readings_kept() == stand.readings_shown()
