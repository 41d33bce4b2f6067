"""`check --report` and `report RUN`: the same page, written beside the run and again from the record."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.__main__ import main


def test_a_report_is_written_with_the_round_and_again_from_the_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One self-contained file each, with the serial number escaped and the simulation unmistakable."""
    records, first, second = str(tmp_path / "r.sqlite"), tmp_path / "first.html", tmp_path / "second.html"
    words = ["--serial", "<b>7</b>", "--only", "power", "--records", records, "--unattended"]
    assert main(["check", "tarnbeck-8", *words, "--report", str(first)]) == 0
    assert main(["report", "last", "--records", records, "--to", str(second)]) == 0
    capsys.readouterr()
    for page in (first.read_text(encoding="utf-8"), second.read_text(encoding="utf-8")):
        assert "SIMULATED" in page
        assert "&lt;b&gt;7&lt;/b&gt;" in page
        assert "<b>7</b>" not in page
        assert "http://" not in page.replace("http://www.w3.org", "")


def test_a_report_of_an_unknown_run_is_refused_in_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2 with what there is, and no file."""
    records = str(tmp_path / "r.sqlite")
    assert main(["check", "tarnbeck-8", "--only", "ohms", "--records", records, "--unattended"]) == 0
    assert main(["report", "nosuch", "--records", records, "--to", str(tmp_path / "x.html")]) == 2
    assert "Traceback" not in capsys.readouterr().err
    assert not (tmp_path / "x.html").exists()


def test_a_report_that_cannot_be_written_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder that is not there, or is one itself, is said before anything is switched on: no run, no record."""
    records = tmp_path / "r.sqlite"
    words = ["--only", "ohms", "--records", str(records), "--unattended"]
    for target in (tmp_path / "no" / "x.html", tmp_path):
        assert main(["check", "tarnbeck-8", *words, "--report", str(target)]) == 2
        assert f"the report {target} cannot be written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
