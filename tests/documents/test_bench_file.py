"""Bench files: what is read, and every mistake with its line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from autobench.documents.bench import Bench
from autobench.documents.places import find_bench
from autobench.documents.reading import read
from autobench.errors import FileError
from autobench.quantity import Quantity, Span

BENCH = """\
bench: corner
words: bench in the corner
simulated: no
line frequency: 50 Hz
instruments:
  supply:
    address: GPIB0::5::INSTR
    driver: ps-3
    calibrated: 2026-03-02
  meter:
    address: GPIB0::22::INSTR
    driver: m-1
  relays:
    address: GPIB0::9::INSTR
    driver: w-1
  scope:
    address: GPIB0::7::INSTR
    driver: o-1b
    probe: 10
feeds:
  +5V:
    supply: supply
    output: 1
    volts: at most 5.5 V
    amps: at most 2 A
    leads: 60 mohm
    when off: isolated
    compensate leads: yes
routes:
  relays: relays
  slots:
    meter high: 1
    meter low: 2
    scope 1: 3
  path: 0.3 ohm
  settle: 20 ms
fixtures:
  tarnbeck-8:
    J1.1: 1
    J1.2: 2
    J2.1: 3
terminated:
  tarnbeck-8:
    J2.1: 75 ohm
"""

ALLOWED_FEED = "supply, output, display, volts, amps, leads, when off, instead of, compensate leads, accept"

# What is written instead of a line, and what is said about it.
WRONG: list[tuple[str, str, str]] = [
    ("    address: GPIB0::5::INSTR", "    adress: GPIB0::5::INSTR", "corner.yaml:7: unknown key 'adress' under instruments > supply; allowed are address, driver, serial line, ends, calibrated, serial, probe; did you mean 'address'?"),
    ("    driver: m-1\n", "", "corner.yaml:10: the key 'driver' is missing under instruments > meter"),
    ("words: bench in the corner\n", "", "corner.yaml:1: the key 'words' is missing"),
    ("bench: corner", "bench: corner\ncolour: red", "corner.yaml:2: unknown key 'colour'; allowed are bench, words, simulated, wiring, line frequency, instruments, feeds, routes, hand probe, fixtures, terminated, reference plug, dummy loads"),
    ("simulated: no", "simulated: served at home", "corner.yaml:3: simulated: 'served at home' is not known here; allowed are in-process, served, no; did you mean 'served'?"),
    ("line frequency: 50 Hz", "line frequency: 50", "corner.yaml:4: line frequency: '50' lacks its unit; write it as '50 Hz'"),
    ("line frequency: 50 Hz", "line frequency: 400 Hz", "corner.yaml:4: line frequency: 400.0 Hz is no mains frequency; write 50 Hz or 60 Hz"),
    ("calibrated: 2026-03-02", "calibrated: 2.3.2026", "corner.yaml:9: instruments > supply > calibrated: '2.3.2026' is not a date; write year-month-day, such as 2026-03-02"),
    ("calibrated: 2026-03-02", "calibrated: 2026-02-30", "corner.yaml:9: instruments > supply > calibrated: '2026-02-30' is not a date; write year-month-day, such as 2026-03-02"),
    ("    address: GPIB0::5::INSTR", "    address: GPIB0::5::INSTR;*RST", "corner.yaml:7: instruments > supply > address: 'GPIB0::5::INSTR;*RST' is not an address; write it like GPIB0::5::INSTR or TCPIP::bench-meter::5025::SOCKET"),
    ("    address: GPIB0::22::INSTR", "    address: gpib0::5::instr", "corner.yaml:11: instruments > meter > address: gpib0::5::instr is already the address of 'supply'"),
    ("simulated: no", "simulated: served", "corner.yaml:7: instruments > supply > address: GPIB0::5::INSTR is not a port of this machine; only those serve a simulated bench\ncorner.yaml:11: instruments > meter > address: GPIB0::22::INSTR is not a port of this machine; only those serve a simulated bench\ncorner.yaml:14: instruments > relays > address: GPIB0::9::INSTR is not a port of this machine; only those serve a simulated bench\ncorner.yaml:17: instruments > scope > address: GPIB0::7::INSTR is not a port of this machine; only those serve a simulated bench"),
    ("    supply: supply", "    supply: suply", "corner.yaml:22: feeds > +5V > supply: 'suply' is not an instrument of this bench; allowed are supply, meter, relays, scope; did you mean 'supply'?"),
    ("    output: 1", "    output: first", "corner.yaml:23: feeds > +5V > output: 'first' is not a whole number"),
    ("    output: 1", "    output: 0", "corner.yaml:23: feeds > +5V > output: '0' is out of range; 1 to 16 is allowed"),
    ("    volts: at most 5.5 V", "    volts: 5.5 V", "corner.yaml:24: feeds > +5V > volts: '5.5 V' is not a span; write '4.75 V .. 5.25 V', '0.78 A ± 8 %', 'at most 50 mV' or 'at least 3 V'"),
    ("    volts: at most 5.5 V", "    volts: at least 5 V", "corner.yaml:24: feeds > +5V > volts: must say the most this output may ever give, such as 'at most 5.5 V' ('at least -5.5 V' if negative)"),
    ("    amps: at most 2 A", "    amps: at most 2 V", "corner.yaml:25: feeds > +5V > amps: '2 V' is in V, but A is wanted"),
    ("    amps: at most 2 A", "    amps: at least 2 A", "corner.yaml:25: feeds > +5V > amps: must say the most this output may ever give, such as 'at most 2 A'"),
    ("    leads: 60 mohm", "    leads: -1 ohm", "corner.yaml:26: feeds > +5V > leads: '-1 ohm' is too small; at least 0 ohm is wanted"),
    ("    leads: 60 mohm", "    leads:", "corner.yaml:26: feeds > +5V > leads: nothing is written here"),
    ("    when off: isolated", "    when of: isolated", f"corner.yaml:27: unknown key 'when of' under feeds > +5V; allowed are {ALLOWED_FEED}; did you mean 'when off'?"),
    ("    compensate leads: yes", "    compensate leads: true", "corner.yaml:28: feeds > +5V > compensate leads: 'true' is neither yes nor no"),
    ("  relays: relays\n  slots", "  relays: switch\n  slots", "corner.yaml:30: routes > relays: 'switch' is not an instrument of this bench; allowed are supply, meter, relays, scope"),
    ("    meter low: 2", "    meter low: 1", "corner.yaml:33: routes > slots > meter low: slot 1 already belongs to 'meter high'"),
    ("    meter low: 2", "    metre low: 2", "corner.yaml:33: routes > slots > metre low: 'metre' is not an instrument of this bench; allowed are supply, meter, relays, scope; did you mean 'meter'?"),
    ("    meter low: 2", "    meter left: 2", "corner.yaml:33: routes > slots > meter left: 'left' is not an input; write 'high', 'low' or a channel from 1 to 8"),
    ("    J1.2: 2", "    J1.2: 1", "corner.yaml:40: fixtures > tarnbeck-8 > J1.2: position 1 already touches J1.1"),
    ("    J1.2: 2", "    J1-2: 2", "corner.yaml:40: fixtures > tarnbeck-8: 'J1-2' is not a point; write PART.PIN, such as U18.8 or J1.1"),
    ("    J1.2: 2", "    J1.1: 2", "corner.yaml:40: the key 'J1.1' under fixtures > tarnbeck-8 is written twice; the first is on line 39"),
    ("    probe: 10", "    probe: 100", "corner.yaml:19: instruments > scope > probe: '100' is no attenuation of a probe; write 1 or 10"),
    ("    scope 1: 3", "    scope 9: 3", "corner.yaml:34: routes > slots > scope 9: '9' is not an input; write 'high', 'low' or a channel from 1 to 8"),
    ("    J2.1: 75 ohm", "    J3.1: 75 ohm", "corner.yaml:44: terminated > tarnbeck-8 > J3.1: J3.1 is not a point of the fixture of tarnbeck-8; allowed are J1.1, J1.2, J2.1; did you mean 'J2.1'?"),
    ("    J2.1: 75 ohm", "    J2.1: 0 ohm", "corner.yaml:44: terminated > tarnbeck-8 > J2.1: a load of 0 ohm is a short"),
    ("    J2.1: 75 ohm", "    J2.1: 75", "corner.yaml:44: terminated > tarnbeck-8 > J2.1: '75' lacks its unit; write it as '75 ohm'"),
    ("bench: corner", "bench: corner; rm", "corner.yaml:1: bench: 'corner; rm' is not a name; letters, digits, spaces and + - / ~ # . ( ) % _ are allowed"),
    ("words: bench in the corner", 'words: "bench\\nin"', "corner.yaml:2: words: 'bench\\nin' holds a line end or another character that cannot be printed"),
    ("words: bench in the corner", "words: [bench, corner]", "corner.yaml:2: words: must be a single text"),
]  # fmt: skip


def put(folder: Path, text: str) -> Path:
    """The text as `corner.yaml`."""
    path = folder / "corner.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def said(folder: Path, text: str) -> str:
    """What is said about a bench file with this text, the folder left out."""
    with pytest.raises(FileError) as caught:
        read(put(folder, text), Bench)
    return str(caught.value).replace(f"{folder}/", "")


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_wrong_bench_file_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Every mistake names file and line and says what to write instead."""
    assert BENCH.count(old) == 1
    assert said(tmp_path, BENCH.replace(old, new)) == words


def test_a_bench_file_becomes_values_with_units(tmp_path: Path) -> None:
    """Keys with spaces become fields, texts become quantities, spans, dates and truth values."""
    bench = read(put(tmp_path, BENCH), Bench)
    feed = bench.feeds["+5V"]
    assert bench.line_frequency == Quantity(50.0, "Hz")
    assert bench.instruments["supply"].calibrated == date(2026, 3, 2)
    assert bench.instruments["meter"].calibrated is None
    assert feed.volts == Span(None, 5.5, "V")
    assert (feed.most_volts, feed.most_amps, feed.negative) == (5.5, 2.0, False)
    assert feed.leads == Quantity(0.06, "ohm")
    assert feed.when_off == "isolated"
    assert feed.compensate_leads is True


def test_relay_channels_are_slot_and_position(tmp_path: Path) -> None:
    """Channel = 100 x slot + position; what no relay or fixture reaches has none."""
    bench = read(put(tmp_path, BENCH), Bench)
    assert bench.channel("tarnbeck-8", "J1.2", "meter low") == 202  # common practice: slot and two digits
    assert bench.channel("tarnbeck-8", "J1.1", "meter high") == 101  # common practice: slot and two digits
    assert bench.channel("tarnbeck-8", "U1.11", "meter high") is None
    assert bench.channel("pellin-600", "J1.1", "meter high") is None
    assert bench.channel("tarnbeck-8", "J2.1", "scope 1") == 303  # common practice: slot and two digits
    assert bench.channel("tarnbeck-8", "J2.1", "scope 2") is None


def test_probes_and_loads_are_told_of(tmp_path: Path) -> None:
    """A scope's probes divide by what the bench file says; a fixture's load stands at its point and nowhere else."""
    bench = read(put(tmp_path, BENCH), Bench)
    assert (bench.instruments["scope"].probe, bench.instruments["meter"].probe) == (10, None)
    assert bench.load("tarnbeck-8", "J2.1") == 75.0  # common practice: a display terminates in 75 ohm
    assert bench.load("tarnbeck-8", "J1.1") is None
    assert bench.load("pellin-600", "J2.1") is None


def test_a_negative_rail_is_capped_from_below(tmp_path: Path) -> None:
    """An output wired to give a negative rail is capped with `at least`."""
    text = BENCH.replace("  +5V:", "  -5V:").replace("at most 5.5 V", "at least -5.5 V")
    feed = read(put(tmp_path, text), Bench).feeds["-5V"]
    assert (feed.most_volts, feed.negative) == (5.5, True)


def test_one_output_feeds_one_rail(tmp_path: Path) -> None:
    """Two rails on one output are refused: setting one would change the other."""
    feed = BENCH[BENCH.index("  +5V:") : BENCH.index("routes:")]
    text = BENCH.replace("routes:", feed.replace("+5V", "+12V") + "routes:")
    assert said(tmp_path, text) == "corner.yaml:31: feeds > +12V > output: output 1 of 'supply' already feeds +5V"


def test_a_fixture_needs_relays(tmp_path: Path) -> None:
    """Positions without relays that lead to them are refused."""
    text = BENCH[: BENCH.index("routes:")] + BENCH[BENCH.index("fixtures:") :]
    assert said(tmp_path, text) == (
        "corner.yaml:30: fixtures > tarnbeck-8: needs the relays that lead to it, under 'routes'"
    )


def test_a_bench_with_a_hand_probe_has_no_routes(tmp_path: Path) -> None:
    """Relays and fixtures may be absent; then a hand holds the probe."""
    bench = read(put(tmp_path, BENCH[: BENCH.index("routes:")]), Bench)
    assert bench.routes is None
    assert bench.position("tarnbeck-8", "J1.1") is None


@pytest.mark.parametrize(
    "address",
    [
        "TCPIP::127.0.0.1::5025::SOCKET",
        "TCPIP0::localhost::hislip0",
        "TCPIP::127.0.0.1,4711::inst0::INSTR",
        "ASRL/dev/pts/4",
    ],
)
def test_a_served_bench_is_at_this_machine(tmp_path: Path, address: str) -> None:
    """Loopback and pseudo-terminal addresses may be those of a served simulated bench."""
    lines = BENCH[: BENCH.index("  meter:")].replace("simulated: no", "simulated: served")
    bench = read(put(tmp_path, lines.replace("GPIB0::5::INSTR", address)), Bench)
    assert bench.instruments["supply"].address == address


def test_the_shipped_bench_is_right() -> None:
    """The bench file that ships loads, and is simulated."""
    bench = read(find_bench("simulated"), Bench)
    assert bench.bench == "simulated"
    assert bench.simulated == "in-process"
    assert bench.routes is not None
    assert "+5V" in bench.feeds
