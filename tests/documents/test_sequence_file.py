"""Sequence files: what is read, and every mistake with its line."""

# ruff: noqa: E501  (an expected message stands on one line, as a person sees it)

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.places import find_sequence
from autobench.documents.reading import read
from autobench.documents.sequence import MEASURED_FOR, PLACEHOLDERS, STAGES, Sequence, Step
from autobench.errors import FileError
from autobench.quantity import Quantity

SEQUENCE = """\
sequence: short
words: a short round
steps:
  - step: look
    stage: power
    ask: Look for burnt parts.
  - step: ohms {rail}
    stage: ohms
    measure: ohms
    for each: rail
  - step: power on
    stage: power
    power: on
  - step: warm up
    stage: power
    wait: 10 min
  - step: rail {rail} {place}
    stage: rails
    measure: rail
    for each: place
  - step: drop {rail} {from} to {to}
    stage: rails
    measure: drop
    for each: drop
  - step: power off
    stage: power
    power: off
"""

WRONG: list[tuple[str, str, str]] = [
    ("    measure: rail\n", "    measure: rail\n    rule: w = 2 U\n", "short.yaml:20: steps > item 5 > rule: 'w = 2 U' is not a decision rule; allowed are simple, w = 0.83 U, w = U, w = 1.5 U, w = 3 U, or a probability such as '95 %'"),
    ("    power: on\n", "    power: on\n    rule: simple\n", "short.yaml:14: steps > item 3 > rule: belongs to a step that measures"),
    ("    measure: ohms\n", "    measure: ohms\n    patience: 5 s\n", "short.yaml:10: steps > item 2 > patience: belongs to 'measure: rail'"),
    ("    stage: ohms", "    stage: ohm", "short.yaml:8: steps > item 2 > stage: 'ohm' is not known here; allowed are ohms, power, rails, clocks, reset, video, cpu, bus, memory; did you mean 'ohms'?"),
    ("    measure: ohms", "    measure: ohm", "short.yaml:9: steps > item 2 > measure: 'ohm' is not known here; allowed are ohms, current, rail, drop, ripple, clock, reset, sync, picture, line, ratio, likeness, driving, delay, refresh, plug, plug ripple; did you mean 'ohms'?"),
    ("    measure: drop", "    mesure: drop", "short.yaml:23: unknown key 'mesure' under steps > item 6; allowed are step, stage, measure, power, ask, hands, wait, for each, load, side, rule, patience, amps, only if, repeat; did you mean 'measure'?"),
    ("    power: on\n", "", "short.yaml:11: steps > item 3: a step takes exactly one of measure, power, ask, wait; this one has none of them"),
    ("    power: on\n", "    power: on\n    wait: 1 s\n", "short.yaml:11: steps > item 3: a step takes exactly one of measure, power, ask, wait; this one has power and wait"),
    ("    power: on\n", "    power: true\n", "short.yaml:13: steps > item 3 > power: 'true' is not known here; allowed are polarity, injection, on, off"),
    ("    power: on\n", "    power: polarity\n", "short.yaml:13: steps > item 3 > power: 'power: polarity' needs 'for each: rail'"),
    ("- step: power on\n", "- step: power on {rail}\n    for each: rail\n", "short.yaml:12: steps > item 3 > for each: 'power: on' is done once, for all rails; delete 'for each'"),
    ("ohms {rail}", "ohms {place}", "short.yaml:7: steps > item 2 > step: needs {rail} in its name, or its steps could not be told apart\nshort.yaml:7: steps > item 2 > step: unknown placeholder '{place}'; allowed with 'for each: rail': {rail}"),
    ("ohms {rail}", "ohms", "short.yaml:7: steps > item 2 > step: needs {rail} in its name, or its steps could not be told apart"),
    ("step: warm up", "step: warm {up}", "short.yaml:14: steps > item 4 > step: unknown placeholder '{up}'; allowed without 'for each': none"),
    ("ohms {rail}", "ohms {rail", "short.yaml:7: steps > item 2 > step: 'ohms {rail' has a brace without its partner"),
    ("step: warm up", "step: warm; up", "short.yaml:14: steps > item 4 > step: 'warm; up' is not a name; letters, digits, spaces and + - / ~ # . ( ) % _ are allowed"),
    ("step: warm up", "step: power on", "short.yaml:14: steps > item 4 > step: 'power on' is already the name of item 3"),
    ("    for each: drop", "    for each: place", "short.yaml:21: steps > item 6 > step: needs {place} in its name, or its steps could not be told apart\nshort.yaml:21: steps > item 6 > step: unknown placeholder '{from}'; allowed with 'for each: place': {rail}, {place}\nshort.yaml:21: steps > item 6 > step: unknown placeholder '{to}'; allowed with 'for each: place': {rail}, {place}\nshort.yaml:24: steps > item 6 > for each: 'measure: drop' needs 'for each: drop'"),
    ("    wait: 10 min", "    wait: 10", "short.yaml:16: steps > item 4 > wait: '10' lacks its unit; write it as '10 s'"),
    ("    wait: 10 min", "    wait: 25 h", "short.yaml:16: steps > item 4 > wait: 90.00 ks is longer than a day"),
    ("    ask: Look for burnt parts.", "    ask:", "short.yaml:6: steps > item 1 > ask: nothing is written here"),
    (SEQUENCE[SEQUENCE.index("  - step: look") :], "  []\n", "short.yaml:3: steps: needs at least 1, has 0"),
    (SEQUENCE[SEQUENCE.index("  - step: look") :], "", "short.yaml:3: steps: nothing is written here"),
]  # fmt: skip

SIGNALS = """\
sequence: signals
words: what a scope looks at
steps:
  - step: clock {clock}
    stage: clocks
    measure: clock
    for each: clock
  - step: reset
    stage: reset
    measure: reset
  - step: line {line}
    stage: cpu
    measure: line
    for each: line
    side: input
  - step: line {line}
    stage: cpu
    measure: line
    for each: line
    side: output
  - step: ratio {of} to {to}
    stage: cpu
    measure: ratio
    for each: ratio
  - step: line {line}
    stage: bus
    measure: line
    for each: line
"""

WRONG_SIGNALS: list[tuple[str, str, str]] = [
    ("clock {clock}", "clock {line}", "short.yaml:4: steps > item 1 > step: needs {clock} in its name, or its steps could not be told apart\nshort.yaml:4: steps > item 1 > step: unknown placeholder '{line}'; allowed with 'for each: clock': {clock}"),
    ("    measure: reset", "    measure: reset\n    for each: rail", "short.yaml:8: steps > item 2 > step: needs {rail} in its name, or its steps could not be told apart\nshort.yaml:11: steps > item 2 > for each: 'measure: reset' is done once; delete 'for each'"),
    ("    measure: clock\n    for each: clock", "    measure: clock\n    for each: line", "short.yaml:4: steps > item 1 > step: needs {line} in its name, or its steps could not be told apart\nshort.yaml:4: steps > item 1 > step: unknown placeholder '{clock}'; allowed with 'for each: line': {line}\nshort.yaml:7: steps > item 1 > for each: 'measure: clock' needs 'for each: clock'"),
    ("    side: input", "    side: in", "short.yaml:15: steps > item 3 > side: 'in' is not known here; allowed are input, output, address, select, data, strobe"),
    ("    measure: reset", "    measure: reset\n    side: input", "short.yaml:11: steps > item 2 > side: belongs to 'measure: line'"),
    ("    side: output", "    side: input", "short.yaml:16: steps > item 4 > step: 'line {line}' is already the name of item 3"),
    ("    side: output\n", "", "short.yaml:16: steps > item 4 > step: 'line {line}' is already the name of item 3"),
    ("stage: bus", "stage: cpu", "short.yaml:25: steps > item 6 > step: 'line {line}' is already the name of item 3"),
    ("stage: bus", "stage: video", "short.yaml:26: steps > item 6 > stage: a board file puts no line into this stage; allowed are cpu, bus, memory"),
]  # fmt: skip


def put(folder: Path, text: str) -> Path:
    """The text as `short.yaml`."""
    path = folder / "short.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(("old", "new", "words"), WRONG)
def test_a_wrong_sequence_file_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Every mistake names file and line and says what does not fit."""
    assert SEQUENCE.count(old) == 1
    with pytest.raises(FileError) as caught:
        read(put(tmp_path, SEQUENCE.replace(old, new)), Sequence)
    assert str(caught.value).replace(f"{tmp_path}/", "") == words


@pytest.mark.parametrize(("old", "new", "words"), WRONG_SIGNALS)
def test_a_wrong_step_of_signals_is_refused_with_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    """What is measured decides what a step is repeated for; two steps may share a name only if they share no line."""
    assert SIGNALS.count(old) == 1
    with pytest.raises(FileError) as caught:
        read(put(tmp_path, SIGNALS.replace(old, new)), Sequence)
    assert str(caught.value).replace(f"{tmp_path}/", "") == words


def test_a_step_takes_the_lines_of_its_stage_and_side(tmp_path: Path) -> None:
    """Inputs, outputs and the bus come in steps of their own; a step without a side takes every line of its stage."""
    steps = read(put(tmp_path, SIGNALS), Sequence).steps
    taken = [
        [(stage, side) for stage in ("cpu", "bus") for side in ("input", "data") if step.takes(stage, side)]
        for step in steps
    ]
    assert taken[2] == [("cpu", "input")]
    assert taken[3] == []
    assert taken[5] == [("bus", "input"), ("bus", "data")]
    assert steps[4].takes("cpu")
    assert not steps[4].takes("bus")
    assert steps[3].name({"line": "FETCH"}) == "line FETCH"
    assert steps[4].name({"of": "REFRESH", "to": "FETCH"}) == "ratio REFRESH to FETCH"


def test_every_measurement_says_what_it_is_repeated_for() -> None:
    """The words a step may measure, what each is repeated for and the placeholders of its name fit each other."""
    words = Step.model_json_schema()["properties"]["measure"]["anyOf"][0]["enum"]
    assert set(MEASURED_FOR) == set(words)
    assert set(MEASURED_FOR.values()) <= set(PLACEHOLDERS)


def test_steps_come_in_order_with_their_kinds(tmp_path: Path) -> None:
    """Each step is of exactly one kind, `on` and `off` stay words, and minutes become seconds."""
    steps = read(put(tmp_path, SEQUENCE), Sequence).steps
    assert [step.kind for step in steps] == ["ask", "measure", "power", "wait", "measure", "measure", "power"]
    assert (steps[2].power, steps[6].power) == ("on", "off")
    assert steps[3].wait == Quantity(600.0, "s")


def test_names_are_filled_in(tmp_path: Path) -> None:
    """A step's name is its template with the values of one repetition."""
    steps = read(put(tmp_path, SEQUENCE), Sequence).steps
    assert steps[5].name({"rail": "+5V", "from": "inlet", "to": "far"}) == "drop +5V inlet to far"
    assert steps[2].name({}) == "power on"


def test_the_stages_stand_in_the_order_of_the_trade() -> None:
    """What is wrong early explains what looks wrong later: power, clock, reset, then what the CPU does."""
    assert STAGES == ("ohms", "power", "rails", "clocks", "reset", "video", "cpu", "bus", "memory")  # common practice


def test_the_shipped_sequence_is_right() -> None:
    """The default round loads, measures ohms and polarity before power, and ends by switching off."""
    steps = read(find_sequence("baseline"), Sequence).steps
    on = next(number for number, step in enumerate(steps) if step.power == "on")
    before = {step.measure or step.power for step in steps[:on]}
    assert {"ohms", "polarity"} <= before
    assert steps[-1].power == "off"
