"""What a careful technician catches and a plainer round would miss, each on one board and seed, and that a good board
is left alone by it. Which seed breaks which leg is the simulator's affair; its truth is asserted beside the verdict."""

from __future__ import annotations

import pytest

from autobench.judgement.reading import Reading
from autobench.rehearsal.rehearsed import RehearsedRound, rehearsed_round


def readings_of(done: RehearsedRound, step: str, quantity: str) -> list[Reading]:
    """The readings of one step of one quantity."""
    return [reading for reading in done.steps[step] if reading.quantity == quantity]


@pytest.mark.parametrize(
    ("board", "fault", "seed"),
    [
        ("tarnbeck-8", "socket-contact@U1", 4),  # open at the CPU …
        ("tarnbeck-8", "track-open@U1", 19),  # … and behind it, where the CPU's own leg goes on pulsing
        pytest.param("orrin-tk", "cpu-pin-dead@U1", 6, marks=pytest.mark.long),
    ],
)
def test_an_open_request_of_the_ports_is_found(board: str, fault: str, seed: int) -> None:
    """Nothing else on these boards shows that the ports are never asked."""
    done = rehearsed_round(board=board, fault=fault, seed=seed)
    assert done.truth[0].nets == ("IORQ",)
    assert done.verdict == "faulty"
    assert done.of_verdict("outside") == ["line IORQ"]
    assert done.suspects[0].part == "U1"


@pytest.mark.parametrize(
    ("board", "seed", "net", "tells"),
    [
        ("tarnbeck-8", 70, "RESET", "FETCH"),
        pytest.param("wexcombe-2", 2, "RES", "RW", marks=pytest.mark.long),
        pytest.param("orrin-tk", 55, "RESET", "FETCH", marks=pytest.mark.long),
    ],
)
def test_a_reset_that_does_not_get_into_the_cpu_is_found(board: str, seed: int, net: str, tells: str) -> None:
    """The line itself is right, and the CPU may even start where it should: it moves while it should be held."""
    done = rehearsed_round(board=board, fault="socket-contact@U1", seed=seed)
    assert done.truth[0].nets == (net,)
    assert done.verdict == "faulty"
    assert done.reason is not None
    assert f"{tells} moves while {net} is asserted" in done.reason
    first = done.suspects[0]
    assert (first.part, first.net, first.fault) == ("U1", net, "socket-contact")


@pytest.mark.parametrize("seed", [2, pytest.param(3, marks=pytest.mark.long)])
def test_a_worn_inlet_shows_by_what_is_lost_behind_it(seed: int) -> None:
    """Some ohms in the AC inlet of a board that draws 70 mA leave every rail within its limits."""
    done = rehearsed_round(board="wexcombe-2", fault="connector-resistance@J4", seed=seed)
    assert done.verdict == "faulty"
    assert done.of_verdict("outside") == ["drop AC9 inlet to bridge"]
    assert (done.suspects[0].part, done.suspects[0].fault) == ("J4", "connector-resistance")


@pytest.mark.parametrize(
    ("declared", "soldered"), [("converter", "bench"), pytest.param("bench", "converter", marks=pytest.mark.long)]
)
def test_another_inlet_than_declared_is_named(declared: str, soldered: str) -> None:
    """No volts at the inlets of one choice: the reason says which choice that fits."""
    done = rehearsed_round(board="orrin-tk", seed=11, options={"power": declared}, soldered={"power": soldered})
    assert done.verdict == "undecided"
    assert f"fits power={soldered}" in (done.reason or "")


@pytest.mark.long
def test_hum_is_not_held_against_a_line_with_a_long_field_pulse() -> None:
    """A ground clip that is off, on an interrupt line that is low for a millisecond and more in each field."""
    done = rehearsed_round(board="wexcombe-2", fault="ground-clip-off@scope 4", seed=13)
    assert done.verdict == "undecided"
    assert "ground clip" in (done.reason or "")


@pytest.mark.parametrize("channel", [pytest.param(channel, marks=pytest.mark.long) for channel in (2, 3, 4)])
def test_a_long_ground_lead_spoils_no_reading_of_a_logic_line(channel: int) -> None:
    """It rings for some tens of nanoseconds by less than a volt: every verdict is that of the same board on a good
    bench, and no number differs by more than its uncertainty (k = 2) allows."""
    good = rehearsed_round(board="tarnbeck-8", seed=10)
    rings = rehearsed_round(board="tarnbeck-8", seed=10, fault=f"long-ground-lead@scope {channel}")
    assert len(good.readings) == len(rings.readings)
    for one, other in zip(good.readings, rings.readings, strict=True):
        assert (one.step, one.verdict, one.state) == (other.step, other.verdict, other.state)
        if one.value is not None and other.value is not None and one.uncertainty and other.uncertainty:
            allowed = 2.0 * (one.uncertainty**2 + other.uncertainty**2) ** 0.5
            assert abs(one.value - other.value) <= allowed, (one.step, one.quantity)


@pytest.mark.parametrize("board", ["tarnbeck-8", pytest.param("wexcombe-2", marks=pytest.mark.long)])
def test_a_good_board_stands_still_in_reset_and_asks_its_ports(board: str) -> None:
    """What finds those faults says nothing of a healthy board."""
    done = rehearsed_round(board=board, seed=31)
    assert done.verdict == "good"
    (held,) = readings_of(done, "reset", "pulses while held")
    assert (held.value, held.verdict) == (0.0, "within")
    (asked,) = readings_of(done, "line IOCS" if board == "wexcombe-2" else "line IORQ", "rate")
    assert (asked.state, asked.verdict) == ("moving", "within")
