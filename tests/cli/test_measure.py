"""`autobench measure POINT BOARD`: one point now, with the power as safe as in a whole round."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from autobench import app
from autobench.cli import entry
from tests.run.bystanders import Operator


def measured(tmp_path: Path, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, object]]:
    """Exit code and document."""
    code = entry.run(["measure", *words, "--json", "--records", str(tmp_path / "r.sqlite")])
    printed = capsys.readouterr().out
    return code, json.loads(printed) if printed else {}


def test_a_point_of_the_round_is_judged_as_in_the_round(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ohms, polarity and power come first; then that point alone, by the board file's limits."""
    code, document = measured(tmp_path, capsys, "U1.27", "tarnbeck-8")
    assert code == 0
    rows = document["readings"]
    assert isinstance(rows, list)
    assert [row["step"] for row in rows] == ["ohms +5V", "polarity +5V", "line FETCH"]
    assert rows[-1]["state"] == "moving"
    assert document["sequence"] == "measure"


def test_a_dead_line_is_found(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The exit code is that of the reading."""
    code, document = measured(tmp_path, capsys, "U1.27", "tarnbeck-8", "--fault", "fetch-strobe-dead")
    assert code == 1
    assert document["verdict"] == "faulty"


def test_a_point_out_of_reach_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pin that no relay of the fixture leads to is skipped with the reason, and the board undecided."""
    code, document = measured(tmp_path, capsys, "U3.28", "tarnbeck-8")
    assert code == 3
    rows = document["readings"]
    assert isinstance(rows, list)
    assert "U3.28" in rows[-1]["reason"]


def test_an_unknown_point_is_a_usage_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With what was probably meant; nothing is opened."""
    assert entry.run(["measure", "U1.99", "tarnbeck-8", "--records", str(tmp_path / "r.sqlite")]) == 2
    assert "U1.99" in capsys.readouterr().err
    assert not (tmp_path / "r.sqlite").exists()


def test_a_pin_that_the_round_does_not_know_is_looked_at_by_hand(tmp_path: Path) -> None:
    """A supply pin in volts against the same part's own ground, within the widest limits of its rail."""
    operator = Operator()
    request = app.CheckRequest("tarnbeck-8", bench="hand", point="U3.28", records=str(tmp_path / "r.sqlite"))
    state = app.check(request, [operator.show], keys=operator)
    reading = state.readings[-1]
    assert (reading.point, reading.net, reading.quantity) == ("U3.28", "+5V", "voltage")
    assert (reading.low, reading.high) == (4.6, 5.2)
    asked = operator.prompts[-1].place
    assert asked is not None
    assert (asked.point, asked.against) == ("U3.28", "U3.14")
