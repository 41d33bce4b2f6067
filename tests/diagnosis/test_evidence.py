"""From readings to observations: what speaks, what it says, and what is left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.diagnosis.alphabets import Observable
from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.evidence import Observation, observations
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def seen(board: BoardModel, readings: list[Reading]) -> dict[tuple[str, str], Observation]:
    """Observations by kind and name."""
    return {(each.observable.kind, each.observable.name): each for each in observations(board, readings)}


def changed(readings: list[Reading], step: str, quantity: str, **values: object) -> list[Reading]:
    """The readings with one of them changed."""
    return [
        replace(each, **values) if (each.step, each.quantity) == (step, quantity) else each  # type: ignore[arg-type]
        for each in readings
    ]


def test_healthy_round_says_healthy(models: dict[str, BoardModel], taken: Taken) -> None:
    """Every reading of a good board falls into the category that a healthy board has."""
    found = seen(models["fixed-3"], taken("fixed-3"))
    assert found[("frequency", "CPUCLK")].category == "right"
    assert found[("line", "WAIT")].category == "high"
    assert found[("line", "FETCH")].category == "moving"
    assert found[("reset", "RESET")].category == "ok"
    assert found[("writes to fetches", "cpu")].category == "usual"
    assert found[("clocks to fetches", "cpu")].category == "usual"
    assert not any(each.accuses for each in found.values())


@pytest.mark.parametrize("verdict", [Verdict.VOID, Verdict.SKIPPED])
def test_void_and_skipped_say_nothing(verdict: Verdict, models: dict[str, BoardModel], taken: Taken) -> None:
    """A reading that cannot be trusted, or was not taken, makes no observation."""
    readings = changed(taken("fixed-3"), "line FETCH", "rate", verdict=verdict)
    found = seen(models["fixed-3"], readings)
    assert ("line", "FETCH") not in found
    assert ("writes to fetches", "cpu") not in found


def test_conditional_says_nothing(models: dict[str, BoardModel], taken: Taken) -> None:
    """Readings taken behind a failed gate are left out, those of the gate itself stay."""
    found = seen(models["fixed-3"], taken("fixed-3", "master-clock-dead"))
    assert found[("frequency", "CLK15")].category == "none"
    assert not any(kind in ("line", "reset", "line rate") for kind, _ in found)


def test_marginal_may_be_either(models: dict[str, BoardModel], taken: Taken) -> None:
    """A number too near a limit to call counts half for each side."""
    readings = changed(taken("fixed-3"), "rail +5V far", "voltage", verdict=Verdict.MARGINAL, value=4.61)
    assert dict(seen(models["fixed-3"], readings)[("rail", "+5V far")].weights) == {"ok": 0.5, "low": 0.5}


@pytest.mark.parametrize(
    ("clocks", "category"),
    [
        (11, "eleven"),
        (4, "four"),
        (8, "usual"),
        (30, "other"),
    ],  # RST 38h takes 11 clocks, NOP 4 (data sheet of class R)
)
def test_clocks_for_each_fetch(clocks: float, category: str, models: dict[str, BoardModel], taken: Taken) -> None:
    """What the CPU executes is told by clocks a fetch, where nothing makes it wait."""
    readings = changed(taken("fixed-3"), "line FETCH", "rate", value=3.75e6 / clocks)
    assert seen(models["fixed-3"], readings)[("clocks to fetches", "cpu")].category == category


def test_waits_leave_ratios_and_one_rate(models: dict[str, BoardModel], taken: Taken) -> None:
    """On a board that stretches accesses only a fetch in every four clocks says something; the ratios say as much."""
    found = seen(models["programmed-3"], taken("programmed-3", "rom-not-driving"))
    assert found[("clocks to fetches", "cpu")].category == "other"
    assert found[("writes to fetches", "cpu")].category == "two"
    halted = seen(models["programmed-3"], taken("programmed-3", "video-controller-dead", 1))
    assert halted[("clocks to fetches", "cpu")].category == "four"  # HALT takes 4 clocks (data sheet of class R)


@pytest.mark.parametrize(
    ("volts", "hard"),
    [(0.0, 0.93), (0.15, 0.5), (0.3, 0.07)],  # standard normal, 1.5 times the uncertainty of 0.1 V off (computed)
)
def test_a_short_is_lower_than_any_output(
    volts: float, hard: float, models: dict[str, BoardModel], taken: Taken
) -> None:
    """How hard a low line is held follows from its level, as far as the uncertainty allows."""
    readings = changed(taken("fixed-3", "data-line-short"), "line D3", "level", value=volts)
    found = seen(models["fixed-3"], readings)
    assert dict(found[("low level", "D3")].weights)["hard"] == pytest.approx(hard, abs=0.005)
    assert ("low level", "WAIT") not in found


def test_the_level_of_a_moving_line_says_nothing(models: dict[str, BoardModel], taken: Taken) -> None:
    """Only a line that stays low can be held low."""
    readings = changed(taken("fixed-3", "data-line-short"), "line D3", "rate", value=4e5, state="moving")
    assert ("low level", "D3") not in seen(models["fixed-3"], readings)


def test_ratio_of_a_still_strobe_is_moot(models: dict[str, BoardModel], taken: Taken) -> None:
    """A ratio to a line that does not move says nothing of its own."""
    readings = taken("fixed-3")
    readings = changed(readings, "line FETCH", "rate", value=0.0, state="low", verdict=Verdict.OUTSIDE)
    readings = changed(readings, "ratio REFRESH to FETCH", "ratio", value=1e9, verdict=Verdict.OUTSIDE)
    found = seen(models["fixed-3"], readings)
    assert ("ratio", "REFRESH to FETCH") not in found
    assert found[("line", "FETCH")].accuses


def test_trip_is_told_from_a_current(models: dict[str, BoardModel], taken: Taken) -> None:
    """A trip carries no uncertainty of its own; a measured current becomes a share of nominal."""
    readings = changed(taken("fixed-3"), "current +5V", "current", value=0.62, verdict=Verdict.OUTSIDE)
    assert seen(models["fixed-3"], readings)[("current", "+5V")].category == "0.80"  # computed: 0.62 / 0.78
    readings = changed(readings, "current +5V", "current", value=1.5, uncertainty=0.0)
    assert seen(models["fixed-3"], readings)[("trip", "+5V")].category == "tripped"


@pytest.mark.parametrize(
    ("values", "category"),
    [
        ({"value": 0.0, "state": "low"}, "stuck"),
        ({"value": 0.0, "state": "high"}, "short"),
        ({"value": 0.01}, "short"),
        ({"value": 0.9}, "long"),
        ({"value": 0.22}, "looping"),
    ],
)
def test_ways_a_reset_fails(
    values: dict[str, object], category: str, models: dict[str, BoardModel], taken: Taken
) -> None:
    """Never released, never there, too short, too long, or right and yet outside because it comes again."""
    readings = changed(taken("fixed-3"), "reset", "reset width", verdict=Verdict.OUTSIDE, **values)
    assert seen(models["fixed-3"], readings)[("reset", "RESET")].category == category


@pytest.mark.parametrize(("hertz", "category"), [(2930.0, "unprogrammed"), (0.0, "none"), (9000.0, "other")])
def test_rate_of_an_unprogrammed_controller(
    hertz: float, category: str, models: dict[str, BoardModel], taken: Taken
) -> None:
    """Registers that hold all ones give lines of 256 character clocks: 750 kHz / 256 = 2 930 Hz (computed)."""
    readings = changed(taken("programmed-3"), "sync", "line rate", value=hertz, verdict=Verdict.OUTSIDE)
    assert seen(models["programmed-3"], readings)[("line rate", "sync")].category == category


def test_last_reading_of_the_same_thing_counts(models: dict[str, BoardModel], taken: Taken) -> None:
    """A point that was read again is judged by what it shows now."""
    readings = taken("fixed-3")
    again = next(each for each in readings if each.step == "line FETCH" and each.quantity == "rate")
    readings.append(replace(again, value=0.0, state="low", verdict=Verdict.OUTSIDE))
    assert seen(models["fixed-3"], readings)[("line", "FETCH")].category == "low"
    assert Observable("line", "FETCH") in {each.observable for each in observations(models["fixed-3"], readings)}
