"""A round is killed, frozen, stopped or robbed at every phase: OFF reaches the supply within a second, nothing is lost.

By the simulator's own truth, in real time, with the round as a process of its own; where somebody is asked something,
at a terminal of its own. One second is what design and issue ask for. With `-s` the worst of each is printed.
"""

from __future__ import annotations

import resource
import signal
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.whole.kill_stand import PHASES, TRANSPORTS, First, KillStand

WITHIN = 1.0  # s
LEASE = 0.7  # s, what the README promises of a frozen program
INSTRUMENTS = ("supply", "meter", "relays", "scope")
# A supply at the end of a line that is gone cannot be told anything by anybody.
DROPPED = [
    pytest.param(name, way, marks=() if way == "socket" else pytest.mark.exhaustive)
    for name in INSTRUMENTS
    for way in TRANSPORTS
    if (name, way) != ("supply", "pty")
]
SIGNALS = {"SIGTERM": (signal.SIGTERM,), "SIGINT x 3": (signal.SIGINT,) * 3, "SIGHUP": (signal.SIGHUP,)}
taken: dict[str, list[float]] = defaultdict(list)

every_phase = pytest.mark.parametrize("phase", PHASES)
# Each way to the supply was struck in each phase; what goes on in CI is the socket, the others are run by hand.
every_transport = pytest.mark.parametrize(
    "transport",
    [pytest.param(way, marks=() if way == "socket" else pytest.mark.exhaustive) for way in TRANSPORTS],
)


@pytest.fixture(scope="module", autouse=True)
def figures() -> Iterator[None]:
    """The worst of each strike, at the end."""
    yield
    for strike, seconds in taken.items():
        print(f"\n{strike}: {len(seconds)} times, worst {1e3 * max(seconds):.0f} ms until OFF", end="")


@pytest.fixture
def stands(tmp_path: Path) -> Iterator[list[KillStand]]:
    made: list[KillStand] = []
    yield made
    for stand in made:
        stand.close()


def begun(
    stands: list[KillStand], folder: Path, phase: str, transport: str = "socket", *, person: bool = False
) -> KillStand:
    """A round that has just come to `phase`; only a person can be prompted."""
    stand = KillStand(folder, transport, person=person or phase == "prompting")
    stands.append(stand)
    stand.start()
    stand.until(phase)
    return stand


def off_in_time(stand: KillStand, strike: str, at: float) -> None:
    """Off within a second of `at`, by the simulator's truth."""
    seconds = stand.seconds_to_off(at)
    taken[strike].append(seconds)
    assert seconds < WITHIN


def all_kept(stand: KillStand, but: int = 0) -> None:
    """Every reading that was shown is in the record, `but` so many of the last ones."""
    shown, kept = stand.readings_shown(), stand.readings_kept()
    assert len(kept) >= len(shown) - but
    assert kept[: len(shown)] == shown[: len(kept)]


def killed(stand: KillStand) -> None:
    """SIGKILL: off within a second, every shown reading kept, the run stopped."""
    assert stand.process is not None
    at = time.monotonic()
    stand.process.kill()
    off_in_time(stand, "SIGKILL", at)
    assert stand.finish() == -signal.SIGKILL
    all_kept(stand)
    assert stand.row()[0] == "stopped"


def frozen(stand: KillStand) -> None:
    """SIGSTOP: off within a second; on waking the run finds out and ends as stopped, in words."""
    assert stand.process is not None
    at = time.monotonic()
    stand.process.send_signal(signal.SIGSTOP)
    off_in_time(stand, "SIGSTOP", at)
    time.sleep(LEASE)
    stand.process.send_signal(signal.SIGCONT)
    code = stand.finish()
    assert stand.readings_kept() == stand.readings_shown()
    verdict, reason = stand.row()
    if code == 4:  # else everything was off already when it was frozen, and nothing was lost
        assert verdict == "stopped"
        assert "stood still" in (reason or "")
    assert not stand.served.truth().any_on


def stopped(stand: KillStand, strike: str, at: float) -> None:
    """Asked to stop at `at`: off within a second, exit 4, every reading kept, the run stopped."""
    off_in_time(stand, strike, at)
    assert stand.finish() == 4
    assert stand.readings_kept() == stand.readings_shown()
    assert stand.row()[0] == "stopped"


def dropped(stand: KillStand, phase: str, name: str) -> None:
    """An instrument's connection breaks: off within a second, whoever was using it; the reason names it."""
    at = time.monotonic()
    stand.served.drop_connections(name)
    off_in_time(stand, f"{name} dropped", at)
    code = stand.finish()
    assert not stand.served.truth().any_on
    if phase != "powering down":  # by then nobody needs it any more, or all was off when it broke
        assert code == 4
        assert name in (stand.row()[1] or "")
    assert stand.readings_kept() == stand.readings_shown()


# -- the ordinary run: one of each kind -------------------------------------------------------------------------------


def test_a_killed_run_is_switched_off(stands: list[KillStand], tmp_path: Path) -> None:
    """SIGKILL while a serial supply powers the board."""
    killed(begun(stands, tmp_path, "measuring", "pty"))


def test_a_frozen_run_is_switched_off(stands: list[KillStand], tmp_path: Path) -> None:
    """SIGSTOP while the board is on."""
    frozen(begun(stands, tmp_path, "waiting"))


@pytest.mark.long
def test_a_meter_that_is_unplugged_while_nobody_uses_it_is_noticed(stands: list[KillStand], tmp_path: Path) -> None:
    """Nothing is measured while the board waits, and yet a broken connection switches it off within a second."""
    dropped(begun(stands, tmp_path, "waiting"), "waiting", "meter")


@pytest.mark.long
def test_a_supply_that_ignores_the_first_offs_gets_another(stands: list[KillStand], tmp_path: Path) -> None:
    """The guard cannot look whether OFF worked, so it says it more than once."""
    stand = begun(stands, tmp_path, "waiting")
    stand.supply.ignores_off = First(2)  # type: ignore[attr-defined]  # a switch of this one device
    killed(stand)


# -- the matrix -------------------------------------------------------------------------------------------------------


@pytest.mark.long
@every_transport
@every_phase
def test_killed(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """SIGKILL."""
    killed(begun(stands, tmp_path, phase, transport))


@pytest.mark.long
@every_transport
@every_phase
def test_frozen(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """SIGSTOP."""
    frozen(begun(stands, tmp_path, phase, transport))


@pytest.mark.long
@every_transport
@pytest.mark.parametrize("signals", SIGNALS)
@every_phase
def test_asked_to_stop(stands: list[KillStand], tmp_path: Path, phase: str, signals: str, transport: str) -> None:
    """SIGTERM, Ctrl-C three times and a hang-up."""
    stand = begun(stands, tmp_path, phase, transport)
    assert stand.process is not None
    at = time.monotonic()
    for number in SIGNALS[signals]:
        stand.process.send_signal(number)
    stopped(stand, signals, at)


@pytest.mark.long
@every_transport
@every_phase
def test_the_terminal_is_closed(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """The window with the run in it is closed: its terminal hangs up, and its keys come to an end."""
    stand = begun(stands, tmp_path, phase, transport, person=True)
    at = time.monotonic()
    stand.close_terminal()
    stopped(stand, "terminal closed", at)


@pytest.mark.long
@every_transport
@every_phase
def test_out_of_memory(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """No memory is left for the run, in the middle of what it does, nor for what comes after it.

    At most the reading that was shown when the record found no memory is missing; then the reason says so.
    """
    stand = begun(stands, tmp_path, phase, transport)
    at = time.monotonic()
    stand.spoil.write_text("memory", encoding="utf-8")
    off_in_time(stand, "out of memory", at)
    assert stand.finish() == 4
    all_kept(stand, but=int(any(line.startswith("END stopped the record") for line in stand.shown)))
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@every_transport
@every_phase
def test_a_record_with_a_defect(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """The record raises what nobody foresaw: off within a second, exit 4; what it took before is kept."""
    stand = begun(stands, tmp_path, phase, transport)
    at = time.monotonic()
    stand.spoil.write_text("record", encoding="utf-8")
    off_in_time(stand, "record fails", at)
    assert stand.finish() == 4
    assert "END stopped the record failed: ValueError: a defect of the record" in stand.shown
    all_kept(stand, but=1)  # the one it failed on was shown, with the words that it is not kept
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@every_transport
@every_phase
def test_a_full_disk(stands: list[KillStand], tmp_path: Path, phase: str, transport: str) -> None:
    """Not one byte more can be written: off within a second, exit 4, in words; what was kept before can be read."""
    stand = begun(stands, tmp_path, phase, transport)
    assert stand.process is not None
    at = time.monotonic()
    # A write beyond this size fails as on a full disk (setrlimit(2), RLIMIT_FSIZE).
    resource.prlimit(stand.process.pid, resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))
    off_in_time(stand, "full disk", at)
    assert stand.finish() == 4
    assert any(line.startswith("END stopped the record cannot be written") for line in stand.shown)
    all_kept(stand, but=1)
    assert stand.row()[0] == "stopped"


@pytest.mark.long
@pytest.mark.parametrize("view", ["terminal", "view"])
@every_phase
def test_a_view_with_a_defect(stands: list[KillStand], tmp_path: Path, phase: str, view: str) -> None:
    """A display that raises is dropped, told, and ends nothing: the round goes on to its end, off, all kept."""
    stand = begun(stands, tmp_path, phase)
    stand.spoil.write_text(view, encoding="utf-8")
    assert stand.finish() in (0, 1, 3)
    assert not stand.served.truth().any_on
    assert stand.readings_kept() == stand.readings_shown()
    assert "STEP power off" in stand.shown


@pytest.mark.long
@every_phase
def test_a_view_whose_stream_is_gone(stands: list[KillStand], tmp_path: Path, phase: str) -> None:
    """Whoever read our output went away: the round goes on without that view and ends off, everything kept."""
    stand = begun(stands, tmp_path, phase)
    assert stand.process is not None
    assert stand.process.stdout is not None
    stand.process.stdout.close()
    stand.process.stdout = None
    assert stand.finish() in (0, 1, 3)
    assert not stand.served.truth().any_on
    assert stand.readings_kept()[: len(stand.readings_shown())] == stand.readings_shown()
    assert stand.row()[0] in ("good", "faulty", "undecided")


@pytest.mark.long
@pytest.mark.parametrize(("name", "transport"), DROPPED)
@every_phase
def test_a_dropped_link(stands: list[KillStand], tmp_path: Path, phase: str, name: str, transport: str) -> None:
    """Any instrument's connection breaks, also one that nobody is using: off within a second."""
    dropped(begun(stands, tmp_path, phase, transport), phase, name)
