"""A repair told end to end on the simulated bench: faulty round, repair, good round, comparison, export."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from autobench.__main__ import main
from autobench.record.store import open_engine
from autobench.views.comparison import RepairVerdict
from autobench.views.recorded import comparison_after_repair

Capture = pytest.CaptureFixture[str]


class Shop:
    """Command lines on one record."""

    def __init__(self, records: Path, capsys: Capture) -> None:
        self.records = records
        self._capsys = capsys

    def say(self, *words: str, code: int = 0) -> str:
        """What a command printed; it must end with `code`."""
        found = main([*words, "--records", str(self.records)])
        out, err = self._capsys.readouterr()
        assert found == code, err
        assert "Traceback" not in out + err
        return out

    def check(self, *words: str, serial: str = "A7", code: int = 0) -> dict[str, Any]:
        """One round's document."""
        line = ["check", "tarnbeck-8", "--serial", serial, "--seed", "1", "--json", "--unattended", *words]
        document: dict[str, Any] = json.loads(self.say(*line, code=code))
        return document


@pytest.fixture
def shop(tmp_path: Path, capsys: Capture) -> Shop:
    return Shop(tmp_path / "records.sqlite", capsys)


def test_a_repair_from_the_faulty_board_to_the_proof(shop: Shop, tmp_path: Path) -> None:
    """Faulty run, `repair last`, good run: cured, the job closed, every run readable as it was."""
    faulty = shop.check("--fault", "cpu-dead", code=1)
    assert "U1 swapped" in shop.say("repair", "last", "U1 swapped", "--operator", "Ann")
    good = shop.check()

    words = shop.say("compare", faulty["run"], "last")
    assert words.splitlines()[-1].startswith("SIMULATED  cured: ")
    assert "SIMULATED  done:   U1 swapped" in words.splitlines()
    document = json.loads(shop.say("compare", "last", faulty["run"], "--json"))
    assert document["verdict"] == "cured"
    assert (document["before"]["run"], document["after"]["run"]) == (faulty["run"], good["run"])
    failed = {(row["step"], row["quantity"]) for row in faulty["readings"] if row["verdict"] == "outside"}
    assert {(pair["before"]["step"], pair["before"]["quantity"]) for pair in document["failed"]} == failed
    assert {pair["now"] for pair in document["failed"]} == {"as it should be"}

    history = json.loads(shop.say("history", "--serial", "A7", "--json"))
    assert [run["run"] for run in history["runs"]] == [good["run"], faulty["run"]]
    (job,) = history["jobs"]
    assert (job["runs"], job["closed"]) == ([faulty["run"], good["run"]], True)
    assert [(repair["words"], repair["operator"]) for repair in job["repairs"]] == [("U1 swapped", "Ann")]
    assert json.loads(shop.say("show", faulty["run"], "--json")) == faulty
    assert json.loads(shop.say("show", "last", "--json")) == good
    shown = shop.say("show", faulty["run"])
    assert "FAULTY" in shown
    assert "supply: ALDER STREET" in shown
    assert "by Ann: U1 swapped" in shown
    exported(shop, tmp_path / "out", faulty, good)


def exported(shop: Shop, folder: Path, faulty: dict[str, Any], good: dict[str, Any]) -> None:
    """The export of the serial number has the numbers of the documents, and the traces that tell the story."""
    shop.say("export", "--serial", "A7", "--to", str(folder))
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    wanted = [(faulty["run"], row) for row in faulty["readings"]] + [(good["run"], row) for row in good["readings"]]
    assert len(rows) == len(wanted)
    for row, (run, reading) in zip(rows, wanted, strict=True):
        assert (row["run"], row["step"], row["verdict"]) == (run, reading["step"], reading["verdict"])
        for name in ("value", "uncertainty", "low", "high"):
            assert (float(row[name]) if row[name] else None) == reading[name]
    assert json.loads((folder / f"{good['run']}.json").read_text(encoding="utf-8")) == good
    always = {"+5V-U18.8.npz", "FETCH-U1.27.npz", "RESET-U1.26.npz", "VIDEO-J2.1.npz"}
    assert trace_names(folder / good["run"]) == always
    assert trace_names(folder / faulty["run"]) >= always | {"FETCH-U1.27.npz", "D7-U1.13.npz"}
    (path,) = (folder / good["run"]).glob("*RESET*.npz")
    connection = sqlite3.connect(shop.records)
    query = "SELECT start, interval, count FROM traces WHERE net = 'RESET' AND run = ?"
    start, interval, count = connection.execute(query, (good["run"],)).fetchone()
    connection.close()
    with np.load(path, allow_pickle=False) as trace:
        assert np.array_equal(trace["time"], start + np.arange(count) * interval)
        assert trace["volts"][0] < 1.0  # before power-on everything is at 0 V
        assert trace["volts"][-1] > 2.4  # released: a TTL high


def trace_names(folder: Path) -> set[str]:
    """Files without their numbers."""
    return {path.name.split("-", 1)[1] for path in folder.iterdir()}


@pytest.mark.long
def test_a_repair_that_did_not_help_is_not_cured(shop: Shop) -> None:
    """The same fault after the repair: said so, with what still fails; the job stays open."""
    first = shop.check("--fault", "cpu-dead", code=1)
    shop.say("repair", "last", "X1 resoldered")
    second = shop.check("--fault", "cpu-dead", code=1)
    assert shop.say("compare", first["run"], second["run"]).splitlines()[-1].startswith("SIMULATED  not cured: ")
    assert "1 repair, open, last faulty" in shop.say("history", "--serial", "A7")


@pytest.mark.long
def test_only_the_first_round_after_a_repair_is_compared(shop: Shop) -> None:
    """The comparison comes by itself for the next round of the same serial number, past stopped ones, and once."""
    engine = open_engine(str(shop.records))

    def after(document: dict[str, Any]) -> str | None:
        found = comparison_after_repair(engine, document["run"])
        return None if found is None else str(found.verdict)

    try:
        faulty = shop.check("--fault", "cpu-dead", code=1)
        assert after(faulty) is None
        shop.say("repair", "last", "U1 swapped")
        assert after(shop.check(serial="B1")) is None
        stopped = shop.check("--fault", "instrument-unplugged@meter", code=4)
        assert after(stopped) == RepairVerdict.CANNOT_TELL
        assert after(shop.check()) == RepairVerdict.CURED
        assert after(shop.check()) is None
    finally:
        engine.dispose()
