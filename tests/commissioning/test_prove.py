"""The proof of a bench: what is right is proved, what is wrong is caught, and nothing dangerous is ever switched on."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.cli.entry import run
from autobench.documents.bench import Bench
from autobench.documents.places import find_bench, list_drivers
from autobench.documents.reading import read
from autobench.errors import FileError, UsageError
from autobench.judgement.verdict import Verdict
from simulated_instruments.devices.scope_out_preamble import OutPreambleScope
from simulated_instruments.devices.scope_screen_scaled import ScreenScaledScope
from simulated_instruments.devices.scope_template import TemplateScope
from simulated_instruments.instruments import SCOPES
from tests.commissioning.proofs import POSITIONS, Proven, bench_file, proved
from tests.run.bystanders import Operator

SAFE = 2.55  # V: the level of a proof is 2.5 V, and a supply is 0.05 % + 5 mV off (its own class)


def shipped(name: str) -> str:
    """The text of a shipped driver file."""
    return dict(list_drivers())[name].read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Proven:
    """The proof of a bench on which everything is right."""
    return proved(bench_file(tmp_path_factory.mktemp("good")))


def test_a_right_bench_is_proved(good: Proven) -> None:
    """Every instrument, relay, output and scope channel gave its reading, and none of them is outside."""
    assert (good.verdict, good.reason) == ("good", "")
    assert len(good.readings("identity")) == 4
    paths = [reading for reading in good.readings("resistance") if reading.step == "relays"]
    assert len(paths) == POSITIONS
    # the simulator's own wiring: 0.3 ohm one closed path
    assert all(abs((reading.value or 0.0) - 0.6) < 0.01 for reading in paths)
    assert [reading.state for reading in good.readings("contact")] == ["open", "open"]
    assert len(good.readings("gain error")) == len(good.readings("offset error")) == 2 * 2
    assert len(good.readings("probe")) == 2
    assert not any(reading.verdict is Verdict.OUTSIDE for reading in good.state.readings)


def test_a_proof_never_gives_more_than_its_safe_level(good: Proven) -> None:
    """By the simulator's own knowledge, at every inlet and for the whole proof; and nothing is left on."""
    assert 2.4 < good.most_volts() < SAFE
    assert good.left_on() == []


def test_the_leads_are_measured(good: Proven) -> None:
    """Ohms of both leads lie within the stated uncertainty of what is really wired."""
    leads = next(reading for reading in good.state.readings if reading.step == "leads of +5V")
    # 2 m of 0.75 mm2 copper at 0.0175 ohm mm2/m (handbook value) and two contacts of 6.7 mohm
    truth = 2.0 * 0.0175 / 0.75 + 2.0 * 6.7e-3
    assert leads.uncertainty is not None
    assert abs((leads.value or 0.0) - truth) < 3.0 * leads.uncertainty
    assert leads.uncertainty < 0.02


RARER = pytest.mark.long


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("relay-stuck@101", "relays 101 and 201 are told to be closed, but no current gets through them"),
        ("relay-stuck@205", "relay 205 is told to be open, but current gets through it"),
        ("probe-factor-wrong@scope 2", "for 2.483 V: its probe divides by 1, the bench file says 10"),
        pytest.param("ground-clip-off@scope 1", "is the ground clip on, and its lead whole?", marks=RARER),
        ("leads-reversed", "the supply leads are the wrong way round"),
        ("range-fixed-low", "does the meter read what it should, and is its range free?"),
        pytest.param("coupling-left-ac", "stays coupled otherwise than DC", marks=RARER),
        pytest.param("protection-latched", "output 1 has tripped", marks=RARER),
        ("instrument-unplugged@scope", "scope: reply: no reply to *IDN?"),
        pytest.param("probe-not-touching@P1.2", "no current gets through them", marks=RARER),
    ],
)
def test_a_wrong_bench_is_caught(fault: str, words: str, tmp_path: Path) -> None:
    """Each fault of the bench ends the proof as not proved, by name, at no more than the safe level."""
    found = proved(bench_file(tmp_path), fault)
    assert found.verdict == "stopped"
    assert words in found.reason
    assert found.most_volts() < SAFE
    assert found.left_on() == []


def test_the_dialect_of_another_scope_is_caught(tmp_path: Path) -> None:
    """O-1a and O-1b share most of their words: the questions tell them apart before anything is measured."""
    found = proved(bench_file(tmp_path, ("driver: o-1b", "driver: o-1a")))
    assert found.verdict == "stopped"
    assert "scope: dialect: it does not speak the dialect 'o-1a'" in found.reason
    assert found.most_volts() == 0.0


# Each other dialect stands in the place of the fixture bench's scope.
OTHERS = {"o-2": OutPreambleScope, "o-3a": TemplateScope, "o-3b": ScreenScaledScope}


@pytest.mark.parametrize("name", ["o-2", pytest.param("o-3a", marks=RARER), pytest.param("o-3b", marks=RARER)])
def test_a_bench_with_another_scope_is_proved(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Scaling at two offsets and two ranges against the meter, and the probe's factor, whatever its dialect."""
    monkeypatch.setitem(SCOPES, "O-1b", OTHERS[name])
    found = proved(bench_file(tmp_path, ("driver: o-1b", f"driver: {name}")))
    assert (found.verdict, found.reason) == ("good", "")
    assert len(found.readings("gain error")) == len(found.readings("offset error")) == 2 * 2
    assert len(found.readings("probe")) == 2


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("o-2", "probe: gain ", "probe: factor "),  # a gain of 10 in place of one of 0.1
        ("o-3b", "positive offset: up", "positive offset: down"),  # which nothing in its record contradicts
        pytest.param("o-3b", "codes: 25", "codes: 24", marks=RARER),
        pytest.param("o-3a", "positive offset: up", "positive offset: down", marks=RARER),
        pytest.param("o-2", "positive offset: down", "positive offset: up", marks=RARER),
    ],
)
def test_what_another_scope_means_otherwise_is_caught(
    name: str, old: str, new: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gain in place of attenuation, the sign of an offset, codes of a division: a known voltage shows each of them."""
    monkeypatch.setitem(SCOPES, "O-1b", OTHERS[name])
    wrong = shipped(name).replace(f"driver: {name}", "driver: mine")
    assert old in wrong
    found = proved(bench_file(tmp_path, ("driver: o-1b", "driver: mine"), drivers={"mine": wrong.replace(old, new)}))
    assert found.verdict != "good"
    assert found.most_volts() < SAFE


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("origin: codes", "origin: volts"),  # the cousin's rule for field nine of the preamble
        ("positive offset: up", "positive offset: down"),
        ("codes: 25  ", "codes: 24  "),
    ],
)
def test_a_wrong_rule_from_codes_to_volts_is_caught(old: str, new: str, tmp_path: Path) -> None:
    """With every word right and only the meaning of the record wrong, no volt of it is believed."""
    wrong = shipped("o-1b").replace("driver: o-1b", "driver: mine")
    assert old in wrong
    found = proved(bench_file(tmp_path, ("driver: o-1b", "driver: mine"), drivers={"mine": wrong.replace(old, new)}))
    assert found.verdict == "stopped"
    assert "is not the one that was set up" in found.reason


def test_a_scaling_worse_than_stated_is_caught(tmp_path: Path) -> None:
    """A scope that promises a tenth of a per cent and is off by more does not keep it."""
    promised = shipped("o-1b").replace("driver: o-1b", "driver: mine")
    line = next(line for line in promised.splitlines() if line.strip().startswith("trust:"))
    better = promised.replace(line, "  trust: {of full scale: 0.05 %, of division: 0.5 %, time base: 25 ppm}")
    found = proved(bench_file(tmp_path, ("driver: o-1b", "driver: mine"), drivers={"mine": better}))
    assert found.verdict == "stopped"
    wrong = [reading for reading in found.state.readings if reading.verdict is Verdict.OUTSIDE]
    assert {reading.quantity for reading in wrong} <= {"gain error", "offset error"}
    assert len(wrong) >= 2


def test_an_inverted_output_word_is_caught(tmp_path: Path) -> None:
    """A driver whose ON and OFF are the wrong way round never gives more than the polarity probe does."""
    inverted = shipped("ps-3").replace("driver: ps-3", "driver: mine")
    inverted = inverted.replace("OUTP ON,", "OUTP HUSH,").replace("OUTP OFF,", "OUTP ON,").replace("HUSH", "OFF")
    found = proved(bench_file(tmp_path, ("driver: ps-3", "driver: mine"), drivers={"mine": inverted}))
    assert found.verdict == "stopped"
    assert "and the output off?" in found.reason  # one that is on at 0 V takes back what the meter's ohms source gives
    assert found.most_volts() < 0.35  # V; the probe is 0.3 V


def test_a_board_in_the_fixture_is_caught(tmp_path: Path) -> None:
    """What is in the place of the reference plug draws otherwise, and nothing is switched on."""
    file = bench_file(tmp_path, ("+5V: {point: P1.1, load: 10 ohm}", "+5V: {point: P1.1, load: 33 ohm}"))
    found = proved(file)
    assert found.verdict == "stopped"
    assert "is the reference plug in, and no board" in found.reason
    assert found.most_volts() < 0.2  # V; the meter's own ohms current through 100 ohm


def test_the_serial_number_of_another_instrument_is_caught(tmp_path: Path) -> None:
    """The layer is named: identity."""
    found = proved(bench_file(tmp_path, ("    driver: m-1\n", "    driver: m-1\n    serial: '4711'\n")))
    assert found.verdict == "stopped"
    assert found.reason.startswith("meter: identity: serial number 4711 is wanted")


def test_a_bench_without_a_reference_plug_is_proved_as_far_as_its_file_goes(tmp_path: Path) -> None:
    """What the file does not say is told as not proved, and nothing is switched on."""
    text = bench_file(tmp_path).read_text(encoding="utf-8")
    file = tmp_path / "bare.yaml"
    file.write_text(text[: text.index("\nreference plug:")] + "\n", encoding="utf-8")
    found = proved(file)
    assert found.verdict == "good"
    assert any("the bench file says no 'reference plug'" in notice.words for notice in found.state.notices)
    assert found.most_volts() < 1e-9


@pytest.mark.long
def test_a_bench_held_by_hand_is_proved_by_a_person(tmp_path: Path) -> None:
    """The same proof with tips and probes that a hand brings to the reference plug; without a person it is refused."""
    operator = Operator()
    state = app.prove(
        "hand", app.Simulation(), [operator.show], records=str(tmp_path / "records.sqlite"), keys=operator
    )
    assert state.ended is not None
    assert state.ended.verdict == "good"
    assert {"P1.1", "P1.3"} <= set(operator.points())
    with pytest.raises(UsageError, match="is proved by a person with it"):
        app.prove("hand", app.Simulation(), records=str(tmp_path / "records.sqlite"))


def test_the_probes_factor_is_caught_by_hand_too(tmp_path: Path) -> None:
    """A switch on a held probe that stands at ×1."""
    operator = Operator()
    text = find_bench("hand").read_text(encoding="utf-8")
    text = text.replace("tips: meter, scope 1, scope 2, scope 3", "tips: meter, scope 1")
    (tmp_path / "hand.yaml").write_text(text.replace("    +12V: {point: P1.3, load: 10 ohm}\n", ""), encoding="utf-8")
    simulation = app.Simulation(faults=("probe-factor-wrong@scope 1",))
    state = app.prove(
        str(tmp_path / "hand.yaml"), simulation, [operator.show], records=str(tmp_path / "r.sqlite"), keys=operator
    )
    assert state.ended is not None
    assert "its probe divides by 1, the bench file says 10" in (state.ended.reason or "")


def test_exit_codes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """0 proved, 4 not what its file says, 2 a wrong word; a wrong bench is never called a faulty board."""
    file, records = str(bench_file(tmp_path)), str(tmp_path / "records.sqlite")
    assert run(["prove", file, "--records", records]) == 0
    assert run(["prove", file, "--records", records, "--fault", "leads-reversed"]) == 4
    assert run(["prove", "nowhere", "--records", records]) == 2
    assert run(["prove", file, "--records", records, "--fault", "no-such"]) == 2
    assert run(["show", "last", "--records", records]) == 0
    assert run(["report", "last", "--records", records, "--to", str(tmp_path / "proof.html")]) == 0
    assert "faulty" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("    +5V: {point: P1.1, load: 10 ohm}", "    +5V: {point: P1.1, load: 2 ohm}", "counts as shorted"),
        ("    +5V: {point: P1.1, load: 10 ohm}", "    +9V: {point: P1.1, load: 10 ohm}", "is not fed by this bench"),
    ],
)
def test_a_wrong_reference_plug_is_refused_with_words(old: str, new: str, words: str, tmp_path: Path) -> None:
    """In the bench file, before anything is opened."""
    with pytest.raises(FileError, match=words):
        read(bench_file(tmp_path, (old, new)), Bench)
