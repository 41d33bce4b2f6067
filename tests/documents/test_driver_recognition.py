"""`recognised by` in driver files: only questions may stand there, since nobody knows yet what they are asked of."""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench.documents.driver import Driver
from autobench.documents.driver_recognition import Recognition, is_question
from autobench.documents.places import folder, list_drivers
from autobench.documents.reading import read
from autobench.errors import FileError

PS_3 = folder("drivers") / "supplies" / "ps-3.yaml"
LINE = '    - {ask: "OUTP? (@1)", answer: truth}\n'


def said(tmp_path: Path, new: str) -> str:
    """Every mistake of ps-3 with another first question."""
    file = tmp_path / "d.yaml"
    text = PS_3.read_text(encoding="utf-8")
    assert text.count(LINE) == 1
    file.write_text(text.replace(LINE, new), encoding="utf-8")
    try:
        read(file, Driver)
    except FileError as error:
        return "\n".join(mistake.text for mistake in error.mistakes)
    return ""


@pytest.mark.parametrize(
    ("line", "harmless"),
    [
        # IEEE 488.2, 7.3.3: a query's header ends in a question mark, its parameters come after it
        ("*IDN?", True),
        ("OUTP? (@1)", True),
        (":STAT:QUES:COND?;:OUTP? (@2)", True),
        ("OUTP ON", False),
        ("OUTP ON;OUTP?", False),
        ("OUTP?;OUTP OFF", False),
        ("DISP:TEXT 'on?'", False),
        (";", False),
    ],
)
def test_what_is_a_question(line: str, harmless: bool) -> None:
    """One command among questions makes the line a command."""
    assert is_question(line) is harmless


@pytest.mark.parametrize(
    ("new", "words"),
    [
        ('    - {ask: "OUTP ON,(@1)", answer: truth}\n', "may be a command; write a question"),
        ('    - {ask: "OUTP?;OUTP ON,(@1)", answer: truth}\n', "may be a command; write a question"),
        ('    - {ask: "OUTP? (@{channel})", answer: truth}\n', "nothing is filled in here"),
        ('    - {say: "*RST", ask: "OUTP? (@1)", answer: truth}\n', "a question is asked here and nothing else"),
        ('    - {ask: "OUTP?", answer: truth, wait: {pause: 1 s}}\n', "a question is asked here and nothing else"),
        ('    - {say: "*RST"}\n', "needs 'ask' and 'answer'"),
        ('    - {ask: "CURV?", answer: block}\n', "a block says nothing about the dialect"),
    ],
)
def test_a_command_is_refused_with_words(new: str, words: str, tmp_path: Path) -> None:
    """When the file is read, so that no search can ever send it."""
    assert words in said(tmp_path, new)


def test_what_its_own_actions_ask_may_be_asked_without_a_question_mark(tmp_path: Path) -> None:
    """Some dialects have no question marks: then only what an action that reads asks is taken for a question."""
    text = PS_3.read_text(encoding="utf-8").replace('{ask: "VOLT? (@{channel})"', '{ask: "GETV"')
    text = text.replace("  channels: 1, 2, 3", "  channels: 1")
    file = tmp_path / "d.yaml"
    file.write_text(text.replace(LINE, '    - {ask: "GETV", answer: number}\n'), encoding="utf-8")
    rule = read(file, Driver).recognised_by
    assert rule is not None
    assert rule.answers[0].ask == "GETV"


def test_every_shipped_dialect_can_be_found() -> None:
    """Each says what it is recognised by, and none by somebody's name."""
    for name, path in list_drivers():
        rule = read(path, Driver).recognised_by
        assert rule is not None, name
        assert rule.identity == (), name


def test_identities_are_told_by_patterns() -> None:
    """Any of them, whatever the case; no pattern knows everybody."""
    anybody = Recognition.model_construct(answers=(), identity=())
    somebody = Recognition.model_construct(answers=(), identity=("*,q-7*", "old *"))
    assert anybody.knows("FAR AWAY WORKS,Q-77,1,2")
    assert somebody.knows("FAR AWAY WORKS,Q-77,1,2")
    assert somebody.knows("OLD THING")
    assert not somebody.knows("FAR AWAY WORKS,R-77,1,2")
