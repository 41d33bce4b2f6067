"""The round as a user sees it: command line in, exit code, document, record and the simulator's own truth out."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from autobench.__main__ import main

FIVE = [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(1, 5))]

Outcome = tuple[int, dict[str, Any] | None, str]


class Shop:
    """Runs command lines with a record of their own."""

    def __init__(self, records: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.records = records
        self._capsys = capsys

    def check(self, *words: str, board: str = "tarnbeck-8") -> Outcome:
        """`autobench check BOARD … --json`; the document is None where nothing was printed."""
        code = main(["check", board, "--records", str(self.records), "--json", "--unattended", *words])
        out, err = self._capsys.readouterr()
        assert "Traceback" not in out + err
        return code, json.loads(out) if out.strip() else None, err

    def truth(self) -> list[dict[str, Any]]:
        """The simulator's truth at the end of every run in the record."""
        connection = sqlite3.connect(self.records)
        try:
            found = connection.execute("SELECT data FROM events WHERE kind = 'Truth' ORDER BY run, number").fetchall()
        finally:
            connection.close()
        return [json.loads(data) for (data,) in found]


@pytest.fixture
def shop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Shop:
    return Shop(tmp_path / "records.sqlite", capsys)


def reading(document: dict[str, Any], step: str) -> dict[str, Any]:
    return next(row for row in document["readings"] if row["step"] == step)


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(1, 20))])
def test_a_healthy_board_is_good(shop: Shop, seed: int) -> None:
    """Twenty healthy boards by seed: exit 0, every output off in the simulator's truth."""
    code, document, _ = shop.check("--seed", str(seed))
    assert document is not None
    assert (code, document["verdict"]) == (0, "good"), document["reason"]
    (truth,) = shop.truth()
    assert not any(truth["outputs"].values())
    assert truth["times_on"] == 2  # the polarity probe, and the round itself


@pytest.mark.parametrize("seed", FIVE)
def test_the_other_choice_of_the_option_is_good_when_declared(shop: Shop, seed: int) -> None:
    """A board with the early video chip, declared as such, is good."""
    code, document, _ = shop.check("--with", "video=early", "--soldered", "video=early", "--seed", str(seed))
    assert document is not None
    assert (code, document["options"]) == (0, {"video": "early"}), document["reason"]


@pytest.mark.parametrize("seed", FIVE)
def test_a_current_that_fits_another_choice_is_void(shop: Shop, seed: int) -> None:
    """Declared late, soldered early: the current says which choice it fits, and the board is undecided."""
    code, document, _ = shop.check("--with", "video=late", "--soldered", "video=early", "--seed", str(seed))
    assert document is not None
    assert (code, document["verdict"]) == (3, "undecided")
    current = reading(document, "current +5V")
    assert current["verdict"] == "void"
    assert "fits video=early" in current["reason"]


@pytest.mark.parametrize("seed", FIVE)
@pytest.mark.parametrize("fault", ["decoupler-short", "inlet-open", "connector-resistance"])
def test_each_fault_is_faulty(shop: Shop, fault: str, seed: int) -> None:
    """Every fault on five seeds: exit 1, and everything off at the end."""
    code, document, _ = shop.check("--fault", fault, "--seed", str(seed))
    assert document is not None
    assert (code, document["verdict"]) == (1, "faulty"), document["reason"]
    assert not any(shop.truth()[0]["outputs"].values())


@pytest.mark.parametrize("seed", FIVE)
def test_a_shorted_rail_is_never_powered(shop: Shop, seed: int) -> None:
    """The simulator itself says that no output was ever switched on and that the inlet never saw a volt."""
    _, document, _ = shop.check("--fault", "decoupler-short", "--seed", str(seed))
    assert document is not None
    (truth,) = shop.truth()
    assert truth["times_on"] == 0
    assert max(truth["most_volts"].values()) < 0.05
    assert reading(document, "ohms +5V")["verdict"] == "outside"
    assert reading(document, "current +5V")["verdict"] == "skipped"


@pytest.mark.parametrize("board", ["tarnbeck-8", "pellin-600"])
@pytest.mark.parametrize(("words", "expected"), [([], (0, "good")), (["--fault", "decoupler-short"], (1, "faulty"))])
def test_shorts_before_power_switches_nothing_on(
    shop: Shop, board: str, words: list[str], expected: tuple[int, str]
) -> None:
    """The short sequence measures every rail's resistance and nothing else; no output is ever on."""
    code, document, _ = shop.check("--sequence", "shorts-before-power", *words, board=board)
    assert document is not None
    assert (code, document["verdict"]) == expected
    assert {row["stage"] for row in document["readings"]} == {"ohms"}
    assert shop.truth()[0]["times_on"] == 0


def test_the_far_point_says_both_limits(shop: Shop) -> None:
    """A healthy far point lies below the data-sheet minimum, inside this board's limits, and the reading says so."""
    _, document, _ = shop.check()
    assert document is not None
    far = reading(document, "rail +5V far")
    assert far["verdict"] == "within"
    assert far["low"] <= far["value"] < 4.75
    assert "4.750 V" in far["limit_from"]
    assert "below the data-sheet minimum of 4.750 V" in far["reason"]
    assert 0 < far["uncertainty"] < 0.01


@pytest.mark.parametrize("instrument", ["supply", "meter", "relays"])
def test_an_instrument_that_does_not_answer_stops_the_run(shop: Shop, instrument: str) -> None:
    """Exit 4 with the instrument's name in words; the board is not accused and everything is off."""
    code, document, err = shop.check("--fault", f"instrument-unplugged@{instrument}")
    assert code == 4
    assert document is not None
    assert document["verdict"] == "stopped"
    assert instrument in document["reason"]
    assert "no reply" in document["reason"]
    assert not any(shop.truth()[0]["outputs"].values())
    assert "STOPPED" in err


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["tarnbek-8"], "tarnbeck-8"),
        (["tarnbeck-8", "--fault", "decuopler-short"], "decoupler-short"),
        (["tarnbeck-8", "--with", "vidoe=late"], "video"),
        (["tarnbeck-8", "--with", "video=lat"], "late"),
        (["tarnbeck-8", "--sequence", "basline"], "baseline"),
        (["tarnbeck-8", "--only", "rail +5V fr"], "rail +5V far"),
    ],
)
def test_a_wrong_word_is_answered_with_what_was_meant(
    shop: Shop, capsys: pytest.CaptureFixture[str], words: list[str], meant: str
) -> None:
    """Exit 2, no document, and the right spelling."""
    code = main(["check", *words, "--json", "--records", str(shop.records)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert f"did you mean '{meant}'" in err


def test_three_mistakes_in_one_file_are_told_at_once(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every mistake with its line, nothing switched on, no document."""
    from autobench.documents.places import find_board

    text = find_board("tarnbeck-8").read_text(encoding="utf-8")
    text = (
        text.replace("nominal: 5 V", "nominal: 5 W")
        .replace("trip:", "tripp:")
        .replace("refresh source: cpu", "refresh source: cup")
    )
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(text, encoding="utf-8")
    code = main(["check", str(wrong), "--json", "--records", str(shop.records)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    lines = [line for line in err.splitlines() if line.startswith(f"{wrong}:")]
    assert len(lines) >= 3
    assert all(line.removeprefix(f"{wrong}:").split(":")[0].isdigit() for line in lines)
    assert "did you mean 'trip'" in err
    assert not shop.records.exists()


def test_only_takes_the_named_steps_and_what_keeps_them_safe(shop: Shop) -> None:
    """`--only` measures what was asked for, behind the same gates, and judges by that alone."""
    code, document, _ = shop.check("--only", "rail +5V far")
    assert document is not None
    assert code == 0
    assert [row["step"] for row in document["readings"]] == ["ohms +5V", "polarity +5V", "rail +5V far"]


def test_a_run_asked_for_twice_is_the_same_twice(shop: Shop) -> None:
    """Same board, same seed: every digit of every reading, and the simulated duration."""
    first, second = (shop.check("--seed", "3")[1] for _ in range(2))
    assert first is not None
    assert second is not None
    first.pop("run"), second.pop("run")
    assert first == second


def test_simulation_options_need_the_simulated_bench(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Injecting a fault into a bench that is not simulated in this process is refused as a wrong word."""
    from autobench.documents.places import find_bench

    text = find_bench("simulated").read_text(encoding="utf-8").replace("simulated: in-process", "simulated: no")
    for number, port in ((5, 1), (22, 2), (9, 3), (7, 4)):
        text = text.replace(f"GPIB0::{number}::INSTR", f"TCPIP::127.0.0.1::{port}::SOCKET")
    bench = tmp_path / "bench.yaml"
    bench.write_text(text, encoding="utf-8")
    code = main(["check", "tarnbeck-8", "--bench", str(bench), "--fault", "inlet-open", "--records", str(shop.records)])
    assert code == 2
    assert "simulated bench only" in capsys.readouterr().err


def test_a_real_supply_that_no_guard_reaches_is_refused(
    shop: Shop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A supply on a bus that one process owns, not accepted by name: exit 2, and no connection is attempted."""
    from autobench.documents.places import find_bench

    text = find_bench("simulated").read_text(encoding="utf-8").replace("simulated: in-process", "simulated: no")
    bench = tmp_path / "bench.yaml"
    bench.write_text(text, encoding="utf-8")
    code = main(["check", "tarnbeck-8", "--bench", str(bench), "--records", str(shop.records)])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert "accept: no guard" in err
