"""Other dialects on the same bench: a whole round and a proof pass on each, and the traps of each are caught.

What a relay unit says of itself is what it was told: a contact that is stuck is found by measuring, whatever it
answers. An output word that means the opposite never puts more on a board than the probe for the polarity does.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from autobench.documents.places import list_drivers
from autobench.run.interlock import PROBE_VOLTS
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.connections.misbehaviour import Misbehaviour
from tests.whole.dialect_benches import DialectBench

SUPPLIES = ("ps-1", "ps-2", "ps-4", "ps-5", "ps-6", "ps-7")
POWERED = ("rail +5V cpu", "rail +5V far")
LONG = pytest.mark.long


def shipped(name: str) -> str:
    """The text of a shipped driver file, under the name of one's own."""
    return dict(list_drivers())[name].read_text(encoding="utf-8").replace(f"driver: {name}", "driver: mine", 1)


@pytest.mark.parametrize("supply", ["ps-6", "ps-7", *(pytest.param(name, marks=LONG) for name in SUPPLIES[:4])])
def test_a_board_is_powered_by_every_supply(supply: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ohms, polarity, rails: the same board is good on each, and off at the end."""
    bench = DialectBench(tmp_path, supply=supply)
    state = bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
    assert 4.8 < bench.most_volts() < 5.5
    assert bench.left_on() == []


@pytest.mark.parametrize(
    ("supply", "relays"),
    [
        ("ps-2", "w-2"),
        *(pytest.param(name, "w-1", marks=LONG) for name in SUPPLIES[:5]),
        pytest.param("ps-7", "w-2", marks=LONG),
    ],
)
def test_a_whole_round_passes(supply: str, relays: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every step of the round, with another supply and other relays."""
    bench = DialectBench(tmp_path, supply=supply, relays=relays)
    state = bench.checked(monkeypatch)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
    assert bench.left_on() == []


@pytest.mark.parametrize(("supply", "relays"), [("ps-6", "w-4"), ("ps-7", "w-2")])
def test_a_bench_is_proved(supply: str, relays: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Outputs and relays do what their drivers say, by measurement."""
    bench = DialectBench(tmp_path, supply=supply, relays=relays)
    state = bench.proved(monkeypatch)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
    assert bench.left_on() == []


@pytest.mark.parametrize("relays", ["w-2", "w-4"])
@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("relay-stuck@101", "relays 101 and 201 are told to be closed, but no current gets through them"),
        ("relay-stuck@205", "relay 205 is told to be open, but current gets through it"),
    ],
)
def test_a_stuck_relay_is_found_whatever_it_says_of_itself(
    relays: str, fault: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its own state is the software's, and looks right: the proof measures."""
    bench = DialectBench(tmp_path, relays=relays, faults=(fault,))
    state = bench.proved(monkeypatch)
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert words in (state.ended.reason or "")
    assert bench.left_on() == []


def test_a_stuck_relay_stops_a_round(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The gate before power sees current where no relay was told to be closed, and accuses no board."""
    bench = DialectBench(tmp_path, relays="w-2", faults=("relay-stuck@205",))
    state = bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert state.ended.verdict in ("stopped", "undecided")
    assert "is stuck closed" in " ".join([state.ended.reason or "", *(r.reason or "" for r in state.readings)])
    assert bench.most_volts() < PROBE_VOLTS  # no more than the meter's own current through it


@pytest.mark.parametrize(
    ("supply", "swapped"),
    [
        ("ps-6", ('{say: "SOUT0"}', '{say: "SOUT1"}')),
        ("ps-7", ('{say: "OP{channel} 1"}', '{say: "OP{channel} 0"}')),
    ],
)
@pytest.mark.parametrize("proof", [True, False])
def test_an_inverted_output_word_never_powers_a_board(
    supply: str, swapped: tuple[str, str], proof: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`SOUT0` is ON: whoever writes it as other dialects have it gets no more onto a board than the polarity probe, and
    the proof says what is wrong."""
    one, other = swapped
    text = shipped(supply)
    assert (text.count(one), text.count(other)) == (1, 1)
    bench = DialectBench(tmp_path, supply=supply, own=text.replace(one, "@@").replace(other, one).replace("@@", other))
    state = bench.proved(monkeypatch) if proof else bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert state.ended.verdict != "good"
    assert not proof or state.ended.verdict == "stopped"
    assert bench.most_volts() < PROBE_VOLTS + 0.05
    if proof:
        assert re.search("and the output off|'on' and 'off' of the driver", state.ended.reason or "")


def test_a_supply_that_takes_no_low_volts_is_never_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below its least volts it leaves the line without a word; the driver file promises what this model does not do."""
    bench = DialectBench(tmp_path, supply="ps-6", manners={"least_volts": 1.0})
    state = bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert state.ended.verdict == "undecided"
    assert "polarity +5V: supply: no reply to VOLT003" in (state.ended.reason or "")
    assert bench.most_volts() < PROBE_VOLTS


@pytest.mark.parametrize(
    ("supply", "manners", "old", "new", "words"),
    [
        ("ps-6", {"amps_step": 0.1}, "", "", "set to 120.0 mA it lets 249.0 mA through: are the steps of 'set amps'"),
        ("ps-7", {}, "answer: bit, bit: 1", "answer: bit, bit: 0", "limit"),
        ("ps-1", {}, "answer: bit, bit: 0}\n  tripped", "answer: bit, bit: 1}\n  tripped", "limit"),
        ("ps-7", {}, "bit: 1, twice: yes", "bit: 4, twice: yes", "does not say that it limits when it does"),
    ],
    ids=["steps ten times as large", "constant voltage for current", "its cousin's bits", "a bit of something else"],
)
def test_a_limit_that_is_another_one_is_caught(
    supply: str,
    manners: dict[str, Any],
    old: str,
    new: str,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same digits mean ten times the amps on a larger model, the same bit the opposite on a cousin: no question
    shows it, a load does."""
    text = shipped(supply)
    assert old in text
    bench = DialectBench(tmp_path, supply=supply, own=text.replace(old, new, 1) if old else text, manners=manners)
    state = bench.proved(monkeypatch)
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert words in (state.ended.reason or "")
    assert bench.left_on() == []


@pytest.mark.parametrize(
    ("what", "words"),
    [
        (Misbehaviour(garbage=b"\xff\x00HX\x93~garbage\r\n", times=1), r"^supply: "),
        (Misbehaviour(held=2.6, times=1), r"^supply: no (complete )?reply to "),
    ],
    ids=["garbage", "late reply"],
)
@pytest.mark.parametrize("supply", ["ps-6", *(pytest.param(name, marks=LONG) for name in ("ps-4", "ps-5", "ps-7"))])
def test_a_supply_that_misbehaves_ends_the_run_off(
    supply: str, what: Misbehaviour, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped, off by the simulator's own truth, with the words that name it; the next run finds the board good."""
    bench = DialectBench(
        tmp_path, supply=supply, wrong=("power on", lambda bench: bench.misbehave("supply", replace(what)))
    )
    state = bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert re.search(words, state.ended.reason or "")
    assert bench.left_on() == []
    bench.wrong = None
    state = bench.checked(monkeypatch, *POWERED)
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)


def test_a_trip_that_a_supply_cannot_tell_of_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its protection has switched it off, and it has no word for that: volts that are gone without a limit say so."""

    def trip(bench: SimulatedBench) -> None:
        bench.devices["supply"].output.settings.trip_volts = 4.0  # type: ignore[attr-defined]  # of this kind of device

    bench = DialectBench(tmp_path, supply="ps-6", wrong=("rail +5V cpu", trip))
    state = bench.checked(monkeypatch)
    assert state.ended is not None
    said = " ".join([state.ended.reason or "", *(reading.reason or "" for reading in state.readings)])
    assert "and it does not limit: tripped by itself, or switched off" in said
    assert state.ended.verdict != "good"
    assert bench.left_on() == []
