"""The rules of the trade in words: whose refresh, which level, where it is lost."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from autobench.diagnosis.board_model import BoardModel
from autobench.diagnosis.evidence import observations
from autobench.diagnosis.facts import Facts
from autobench.diagnosis.findings import Finding, findings
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

Taken = Callable[..., list[Reading]]


def found(board: BoardModel, readings: list[Reading]) -> list[Finding]:
    """Every finding of a round."""
    return findings(Facts(board, observations(board, readings), readings))


def about(found_ones: list[Finding], fault: str) -> list[Finding]:
    """Those that speak for a fault."""
    return [finding for finding in found_ones if fault in finding.speaks_for]


@pytest.mark.parametrize(
    ("level", "words"),
    [
        (0.05, "a hard low"),  # TTL drives a low to 0.15 .. 0.45 V: less is a short (common practice)
        (0.7, "two outputs fight"),  # common practice: a low that wins a fight
        (1.45, "an open net"),  # common practice: an open TTL input floats there
        (4.8, "stuck high"),  # common practice: pulled up and not driven
    ],
)
def test_fetch_strobe_rule(level: float, words: str, models: dict[str, BoardModel], taken: Taken) -> None:
    """Fetch still while the CPU's own refresh runs: what the CPU is given is innocent, the level tells the rest."""
    readings = taken("fixed-3", "fetch-strobe-dead")
    readings = [replace(each, value=level) if each.quantity == "level" else each for each in readings]
    (rule,) = about(found(models["fixed-3"], readings), "fetch-strobe-dead")
    for text in (words, "FETCH at U1.27 is flat at", "REFRESH at U1.28 runs at 430 kHz", "the core is fetching"):
        assert text in rule.words
    for text in ("clock, reset, WAIT and BUSRQ are innocent", "level on the leg", "lift the FETCH leg"):
        assert text in rule.words
    assert "swap the socketed U1" in rule.words
    assert {"master-clock-dead", "reset-stuck", "wait-held", "bus-request-held", "cpu-dead"} <= rule.clears


def test_whose_refresh(models: dict[str, BoardModel], taken: Taken) -> None:
    """A refresh that another part makes, read away from the CPU, proves nothing about the CPU, and that is said."""
    board = models["programmed-3"]
    elsewhere = replace(board, lines={**board.lines, "REFRESH": replace(board.lines["REFRESH"], point="U11.4")})
    rules = found(elsewhere, taken("programmed-3", "fetch-strobe-dead"))
    assert not about(rules, "fetch-strobe-dead")
    (trap,) = [rule for rule in rules if "says nothing about the CPU" in rule.words]
    assert "made by the video" in trap.words
    assert not trap.clears


def test_own_refresh_counts_whoever_refreshes_the_memory(models: dict[str, BoardModel], taken: Taken) -> None:
    """At the CPU's own pin the refresh speaks of the core, also on boards where the memory is refreshed otherwise."""
    assert about(found(models["programmed-3"], taken("programmed-3", "fetch-strobe-dead")), "fetch-strobe-dead")


def test_refresh_still_while_fetches_run(models: dict[str, BoardModel], taken: Taken) -> None:
    """The converse: the refresh output or its net, not the core."""
    readings = [
        replace(each, value=0.0, state="low", verdict=Verdict.OUTSIDE)
        if each.net == "REFRESH" and each.quantity == "rate"
        else each
        for each in taken("fixed-3")
    ]
    (rule,) = about(found(models["fixed-3"], readings), "cpu-pin-dead")
    assert "FETCH at U1.27 runs at 430 kHz and REFRESH at U1.28 is flat" in rule.words


def test_select_decides_between_decoder_and_rom(models: dict[str, BoardModel], taken: Taken) -> None:
    """On an undriven bus the ROM's select says whether it was asked."""
    moving = found(models["fixed-3"], taken("fixed-3", "rom-not-driving"))
    still = found(models["fixed-3"], taken("fixed-3", "decoder-dead"))
    assert any("selected and does not answer" in rule.words and "decoder-dead" in rule.clears for rule in moving)
    assert any("never asked" in rule.words and "rom-not-driving" in rule.clears for rule in still)


def test_writes_decide_about_the_controller(models: dict[str, BoardModel], taken: Taken) -> None:
    """Sixteen writes in the first milliseconds clear what is upstream, none clears the controller."""
    written = found(models["programmed-3"], taken("programmed-3", "video-controller-dead"))
    (good,) = about(written, "video-controller-dead")
    assert "CRTCCS at U5.25 pulsed 16 times" in good.words
    assert {"cpu-dead", "rom-not-driving", "decoder-dead"} <= good.clears
    unwritten = found(models["programmed-3"], taken("programmed-3", "cpu-dead"))
    assert any("never programmed" in rule.words and "video-controller-dead" in rule.clears for rule in unwritten)


def test_fixed_sync_clears_the_program_side(models: dict[str, BoardModel], taken: Taken) -> None:
    """Sync that is made without software is missing: CPU, ROM and RAM are innocent."""
    (rule,) = about(found(models["fixed-3"], taken("fixed-3", "video-chip-dead")), "video-chip-dead")
    assert {"cpu-dead", "rom-not-driving", "ram-dead"} <= rule.clears
    assert not about(found(models["programmed-3"], taken("programmed-3", "cpu-dead")), "video-chip-dead")


def test_first_missing_clock_tells_the_stage(models: dict[str, BoardModel], taken: Taken) -> None:
    """A dead master is not blamed on the divider behind it, nor the other way round."""
    master = found(models["fixed-3"], taken("fixed-3", "master-clock-dead"))
    divider = found(models["fixed-3"], taken("fixed-3", "divider-dead", 2))
    assert about(master, "master-clock-dead")
    assert not about(master, "divider-dead")
    assert about(divider, "divider-dead")
    assert not about(divider, "master-clock-dead")


def test_healthy_round_finds_nothing_to_blame(models: dict[str, BoardModel], taken: Taken) -> None:
    """On a good board no rule speaks for any fault but what the written controller would be asked if it were silent."""
    for name, model in models.items():
        spoken = {fault for finding in found(model, taken(name)) for fault in finding.speaks_for}
        assert spoken <= {"video-controller-dead"}
