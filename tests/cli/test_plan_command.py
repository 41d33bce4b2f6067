"""`autobench plan`: every step with what it takes, what cannot be done and why; nothing is opened."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from autobench.__main__ import main
from autobench.documents.places import find_bench, list_boards, list_sequences
from autobench.instruments.opened import Opener


@pytest.fixture(autouse=True)
def nothing_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan that opened an instrument would fail here."""

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a plan opens nothing")

    monkeypatch.setattr(Opener, "open", opened)


def planned(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    code = main(["plan", *words])
    return code, capsys.readouterr().out


def document(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    code, out = planned(capsys, *words, "--json")
    assert code == 0
    found: dict[str, Any] = json.loads(out)
    return found


@pytest.mark.parametrize("board", [name for name, _ in list_boards()])
def test_the_plan_of_a_shipped_board_fits_80_columns(board: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is cut off on a narrow terminal, and everything on the fixture can be done but what wants the mains."""
    code, out = planned(capsys, board)
    assert code == 0
    assert [line for line in out.splitlines() if len(line) > 80] == []
    assert "this is only the plan: nothing is opened or switched on" in out
    assert all("mains" in line for line in out.splitlines() if "CANNOT" in line)


@pytest.mark.parametrize("sequence", [name for name, _ in list_sequences() if name != "supply-alone"])
def test_every_shipped_sequence_can_be_planned_and_ends_off(sequence: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever switches on has measured ohms and polarity before, and ends with off."""
    steps = [row["step"] for row in document(capsys, "tarnbeck-8", "--sequence", sequence)["steps"]]
    if "power on" in steps:
        assert {"ohms +5V", "polarity +5V"} <= set(steps[: steps.index("power on")])
        assert steps[-1] == "power off"


def test_a_step_says_instrument_range_route_limits_and_their_source(capsys: pytest.CaptureFixture[str]) -> None:
    """The far end of the rail: ten-volt range, the relays of its two positions, the board file's limits, data sheet."""
    (row,) = [row for row in document(capsys, "tarnbeck-8")["steps"] if row["step"] == "rail +5V far"]
    assert row["instrument"] == "meter"
    assert row["range"] == "10.0 V range"
    assert row["where"] == "U18.8 against U18.16"
    assert row["route"] == "relays 106, 207"  # slots 1 and 2, positions 6 and 7 of the bench file
    assert row["limits"] == [
        {
            "of": None,
            "limits": "4.600 V .. 5.200 V",
            "from": "board file",
            "usual": "4.630 V .. 4.800 V",
            "data_sheet": "4.750 V .. 5.250 V",
        }
    ]


def test_a_clock_says_how_it_is_sampled_and_its_exact_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    """Ten samples a period of the fastest clock at least; the two ends of a narrow span are told apart."""
    (row,) = [row for row in document(capsys, "tarnbeck-8")["steps"] if row["step"] == "clock CPUCLK"]
    assert row["instrument"] == "scope"
    assert "CLK15 on channel 1" in row["route"]
    assert {each["of"] for each in row["limits"]} == {None, "ratio", "duty", "high", "low"}
    low, _, high = next(each["limits"] for each in row["limits"] if each["of"] is None).partition(" .. ")
    assert low != high


def test_options_change_what_the_current_is_held_to(capsys: pytest.CaptureFixture[str]) -> None:
    """The limits are those of the choice that is declared."""
    found = document(capsys, "tarnbeck-8", "--with", "video=early")
    (row,) = [row for row in found["steps"] if row["step"] == "current +5V"]
    assert row["limits"][0]["limits"] == "901.6 mA .. 1.058 A"  # 0.98 A ± 8 %


def test_what_cannot_be_done_is_said_with_its_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bench whose plate does not reach a point: the step, the point, and what it means for the board."""
    bench = tmp_path / "short.yaml"
    text = find_bench("simulated").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^hand probe:\n(  .*\n)+", "", re.sub(r"(?m)^    U18\.8: .*\n", "", text))
    bench.write_text(text, encoding="utf-8")
    code, out = planned(capsys, "tarnbeck-8", "--bench", str(bench))
    assert code == 0
    said = " ".join(out.split())
    assert "CANNOT: no meter route to U18.8 and U18.16 on this bench, and no hand probe" in said
    assert "of them cannot be done here" in out


def test_missing_safety_is_shown_and_whether_it_is_accepted(capsys: pytest.CaptureFixture[str]) -> None:
    """A supply with knobs only: no guard, no trip, no read-back, each accepted by name; refused with nobody there."""
    code, out = planned(capsys, "tarnbeck-8", "--bench", "hand-supply", "--unattended")
    assert code == 0
    for lack in ("no guard", "no trip", "no read-back"):
        assert f"+5V: a supply worked by hand has {lack}; accepted in the bench file" in out
    assert "REFUSED as planned: this bench needs a person" in out


def test_steps_of_different_instruments_are_free_to_overlap(capsys: pytest.CaptureFixture[str]) -> None:
    """Between power on and off the meter, the supply and the scope share nothing; with a hand probe all is serial."""
    (together,) = document(capsys, "tarnbeck-8")["overlap"]
    assert {lane["instrument"] for lane in together["lanes"]} == {"meter", "supply", "scope"}
    assert together["seconds"] < together["serial"]
    assert document(capsys, "tarnbeck-8", "--bench", "hand")["overlap"] == []


def test_first_power_goes_up_in_steps_inside_the_envelope(capsys: pytest.CaptureFixture[str]) -> None:
    """0.3, 0.6, 1.0 and 1.5 A (common practice for an unknown board), none above the board's cap of 1.5 A."""
    (feed,) = document(capsys, "tarnbeck-8", "--sequence", "first-power")["feeds"]
    assert feed["steps"] == [0.3, 0.6, 1.0, 1.5]
    assert feed["amps"] == 0.3
    assert feed["most"]["amps"] == 1.5


@pytest.mark.parametrize("words", [("nowhere",), ("tarnbeck-8", "--sequence", "x"), ("tarnbeck-8", "--with", "x")])
def test_a_wrong_word_is_a_usage_error(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2 and no document."""
    assert planned(capsys, *words, "--json") == (2, "")
