"""No inner word reaches a person: every text of many commands, faults and wrong inputs is looked through."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from pathlib import Path

import pytest

from autobench.__main__ import main
from autobench.cli.entry import autobench
from autobench.judgement.verdict import Verdict
from tests.whole.inner_words import (
    ROOT,
    class_names,
    exception_names,
    offenders,
    words_of_json,
    words_of_page,
)

BOARDS = ("tarnbeck-8", "pellin-600")
ROUNDS = (
    ("tarnbeck-8", "--fault", "fetch-strobe-dead", "--serial", "A17"),
    ("tarnbeck-8", "--fault", "decoupler-short", "--operator", "R. Holm"),
    ("tarnbeck-8", "--fault", "instrument-unplugged"),
    ("tarnbeck-8", "--fault", "relay-stuck@106", "--only", "rails"),
    ("tarnbeck-8", "--with", "video=late", "--soldered", "video=early"),
    pytest.param(("pellin-600", "--fault", "rom-not-driving"), marks=pytest.mark.long),
    ("pellin-600", "--sequence", "shorts-before-power"),
)
HELP = ((), *((name,) for name in autobench.commands), ("list", "boards"), ("list", "faults"))
LISTS = (
    ("off",),
    *(("list", kind) for kind in ("boards", "sequences", "drivers")),
    *(("list", "faults", board) for board in BOARDS),
)
BROKEN = {
    "syntax.yaml": "board: [1, 2\n  x: {",
    "text.yaml": "hello",
    "empty.yaml": "",
    "bytes.yaml": "\udcff\udcfe",
    "half.yaml": "board: mine\nwords: x\nfoo: 1\n",
    "kinds.yaml": "board: 3\nwords: [a]\narchitecture: {}\nrails: 7\nclocks: 1\nlines: x\nparts: [1]\noptions: 5 V\n",
    "tags.yaml": "board: !!python/object:os.system x\n",
    "alias.yaml": "board: &a [*a]\n",
    "twice.yaml": "board: a\nboard: b\n",
    "null.yaml": "board:\nrails:\n  +5V:\n",
}


class Desk:
    """A person at the command line, whose screen is looked through after every command."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.records = folder / "records.sqlite"
        self._capsys = capsys

    def run(self, *words: str) -> tuple[int, str, str]:
        """One command line: exit code, standard output and standard error, free of inner words."""
        code = main(list(words))
        out, err = self._capsys.readouterr()
        said = words_of_json(out) + err if "--json" in words and out.strip() else out + err
        self.look(said, *words)
        return code, out, err

    def look(self, said: str, *words: str) -> None:
        """What was said; names that the person chose, and files of theirs, are theirs."""
        for own in (str(self.folder), self.folder.name, *(word for word in words if "/" in word)):
            said = said.replace(own, "FOLDER")
        said = re.sub(re.escape(str(ROOT)) + r"/(?:drivers|sequences)/\S*", "FILE", said)
        assert offenders(said) == [], words

    def report(self, *words: str) -> None:
        """The report of the last run."""
        page = self.folder / "page.html"
        assert self.run("report", "last", "--records", str(self.records), "--to", str(page))[0] == 0
        self.look(words_of_page(page.read_text(encoding="utf-8")), *words)


@pytest.fixture
def desk(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Desk:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return Desk(tmp_path, capsys)


def look_at_round(desk: Desk, words: Sequence[str]) -> None:
    """A round by its plain lines, its document, its report and the record's own words."""
    code, out, err = desk.run("check", *words, "--records", str(desk.records), "--json", "--unattended")
    assert code in (0, 1, 3, 4)
    assert json.loads(out)["verdict"]
    assert "SIMULATED" in err
    desk.report(*words)
    for line in (["show", "last"], ["show", "last", "--json"], ["history"], ["history", "--json"]):
        assert desk.run(*line, "--records", str(desk.records))[0] == 0


@pytest.mark.parametrize("words", ROUNDS, ids=" ".join)
def test_a_round_speaks_plainly(desk: Desk, words: tuple[str, ...]) -> None:
    """Lines, document, report and record of a round name no code of ours, whatever is wrong with board or bench."""
    look_at_round(desk, words)


@pytest.mark.exhaustive
@pytest.mark.parametrize("board", BOARDS)
def test_every_fault_speaks_plainly(desk: Desk, board: str) -> None:
    """So does a round with each fault the simulator knows."""
    _, out, _ = desk.run("list", "faults", board, "--json")
    for fault in dict.fromkeys(row["fault"] for row in json.loads(out)):
        look_at_round(desk, (board, "--fault", fault))


@pytest.mark.long
def test_a_job_speaks_plainly(desk: Desk) -> None:
    """The repair, the comparison after it, the jobs and the export do so too."""
    record = ("--records", str(desk.records))
    check = ("check", "tarnbeck-8", "--serial", "A17", "--unattended", *record)
    assert desk.run(*check, "--fault", "cpu-dead")[0] == 1
    assert desk.run("repair", "last", "U1 swapped", "--operator", "Ann", *record)[0] == 0
    code, _, err = desk.run(*check)
    assert code == 0
    assert "cured" in err
    desk.report()
    _, out, _ = desk.run("history", "--serial", "A17", "--json", *record)
    first = json.loads(out)["runs"][1]["run"]
    for line in (["compare", first, "last"], ["compare", first, "last", "--json"], ["history", "--serial", "A17"]):
        assert desk.run(*line, *record)[0] == 0
    assert desk.run("export", first, "last", "--to", str(desk.folder / "out"), *record)[0] == 0


@pytest.mark.parametrize("words", HELP, ids=" ".join)
def test_help_speaks_plainly(desk: Desk, words: tuple[str, ...]) -> None:
    """Every command says what it does without a word of its insides."""
    assert desk.run(*words, "--help")[0] == 0


@pytest.mark.parametrize("words", LISTS, ids=" ".join)
def test_lists_speak_plainly(desk: Desk, words: tuple[str, ...]) -> None:
    """What there is, is listed in the words of the trade, as lines and as documents."""
    assert desk.run(*words)[0] == 0
    if words[0] == "list":
        assert desk.run(*words, "--json")[0] == 0


CHECK = ("check", "tarnbeck-8")


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("nosuch",),
        ("check",),
        ("check", "nosuch"),
        ("check", "tarnbek-8"),
        ("check", ""),
        ("check", "a\x1bb"),
        ("check", "FOLDER"),
        ("check", "FOLDER/nosuch.yaml"),
        (*CHECK, "--nosuch"),
        (*CHECK, "--fault", "nosuch"),
        (*CHECK, "--fault", "decoupler-short@U99"),
        (*CHECK, "--fault", "@"),
        (*CHECK, "--with", "video"),
        (*CHECK, "--with", "video=blue"),
        (*CHECK, "--with", "nosuch=x"),
        (*CHECK, "--with", "video=late", "--with", "video=early"),
        (*CHECK, "--soldered", "video=blue"),
        (*CHECK, "--soldered", "nosuch=x"),
        (*CHECK, "--sequence", "nosuch"),
        (*CHECK, "--bench", "nosuch"),
        (*CHECK, "--only", "nosuch"),
        (*CHECK, "--circuit", "FOLDER/nosuch.yaml"),
        (*CHECK, "--circuit", "FOLDER"),
        (*CHECK, "--seed", "x"),
        (*CHECK, "--report", "FOLDER/nosuch/x.html"),
        (*CHECK, "--report", "FOLDER"),
        (*CHECK, "--records", "nosuch://x"),
        ("list",),
        ("list", "nosuch"),
        ("list", "faults", "nosuch"),
        ("off", "--bench", "nosuch"),
        ("off", "--bench", "FOLDER"),
        ("history", "--limit", "0"),
        ("history", "--limit", "x"),
        ("history", "--records", "FOLDER/none.sqlite"),
        ("history", "--records", "nosuch://x"),
        ("show", "last", "--records", "FOLDER/none.sqlite"),
        ("compare", "last"),
        ("export", "last"),
        ("report", "last", "--records", "FOLDER/none.sqlite"),
    ],
    ids=lambda words: " ".join(words) or "nothing",
)
def test_a_wrong_word_is_answered_plainly(desk: Desk, words: tuple[str, ...]) -> None:
    """Exit 2 (or help, for nothing at all), something said, and no document."""
    code, out, err = desk.run(*(word.replace("FOLDER", str(desk.folder)) for word in words))
    assert code == 2
    assert err.strip() or out.strip()
    assert not list(desk.folder.glob("*.sqlite"))


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_file_is_answered_plainly(desk: Desk, name: str) -> None:
    """Whatever is in a board, bench, sequence or circuit file, the mistake is said by file and line, with exit 2."""
    path = desk.folder / name
    path.write_text(BROKEN[name], encoding="utf-8", errors="surrogateescape")
    file = str(path)
    lines = (("check", file), (*CHECK, "--bench", file), (*CHECK, "--sequence", file), (*CHECK, "--circuit", file))
    for words in (*lines, ("list", "faults", file), ("off", "--bench", file)):
        code, out, err = desk.run(*words)
        assert (code, out) == (2, ""), words
        assert name in err


@pytest.mark.parametrize("records", ["junk.sqlite", "", "postgresql+nosuch://127.0.0.1/x", "sqlite:////dev/null/x"])
def test_a_record_that_cannot_be_used_is_said_plainly(desk: Desk, records: str) -> None:
    """A file that is no database, a folder, a database kind that is not there: exit 2 or 4, before any round."""
    (desk.folder / "junk.sqlite").write_text("no database, but a text that is longer than the header of one" * 40)
    where = records if "://" in records else str(desk.folder / records)
    for words in ((*CHECK, "--unattended"), ("history",), ("show", "last"), ("report", "last")):
        code, out, err = desk.run(*words, "--records", where)
        assert code in (2, 4), words
        assert out == ""
        assert err.startswith("autobench: ")


def test_a_wrong_word_on_the_record_is_answered_plainly(desk: Desk) -> None:
    """Runs that are not there, the same twice, of two boards; folders and files in the way; nothing found."""
    record = ("--records", str(desk.records))
    runs = []
    for board in BOARDS:
        code, out, _ = desk.run("check", board, "--only", "ohms", "--json", "--unattended", *record)
        assert code == 0
        runs.append(json.loads(out)["run"])
    file = desk.folder / "file"
    file.write_text("x")
    wrong: tuple[tuple[str, ...], ...] = (
        ("show", "nosuch"),
        ("show", ""),
        ("show", runs[0][:4]),
        ("compare", "last", "last"),
        ("compare", *runs),
        ("compare", "last", "nosuch"),
        ("repair", "nosuch", "x"),
        ("repair", "last", " "),
        ("report", "nosuch"),
        ("report", "last", "--to", str(desk.folder)),
        ("report", "last", "--to", str(desk.folder / "nosuch" / "x.html")),
        ("export", "nosuch", "--to", str(desk.folder / "out")),
        ("export", "last", "--to", str(desk.folder)),
        ("export", "last", "--to", str(file)),
        ("export", "--serial", "nobody", "--to", str(desk.folder / "out")),
        ("export", "--to", str(desk.folder / "out")),
    )
    for words in wrong:
        code, out, err = desk.run(*words, *record)
        assert (code, out) == (2, ""), words
        assert err.startswith("autobench: "), words
    for words in (("history", "--serial", "nobody"), ("history", "--serial", "nobody", "--json")):
        assert desk.run(*words, *record)[0] == 0


PLANTED = (
    "the RunStarted came first",
    "BoardJudgement",
    "Reading(step='x', value=1.0)",
    "the board is Verdict.OUTSIDE",
    "KeyError: 'rails'",
    "sqlalchemy.exc.OperationalError",
    "Traceback (most recent call last):",
    "<autobench.app.Session object at 0x7f>",
    "<class 'str'>",
    "4.9 V, limit None",
    "nan V",
    "between 0 V and inf V",
    "the usual_low of it",
    "told_apart",
    "in autobench.run.runner",
    "raised in power.py",
    "{net} is low",
    f"see {ROOT}/autobench/app.py",
    "OSError",
    "KeyboardInterrupt",
    "0.5 ± 1.2e-06",
)


@pytest.mark.parametrize("text", PLANTED)
def test_the_search_finds_what_is_planted(text: str) -> None:
    """Each kind of inner word is found, alone, in a document and on a page."""
    assert offenders(text)
    assert offenders(words_of_json(json.dumps({"reason": [text]})))
    escaped = text.replace("&", "&amp;").replace("<", "&lt;")
    assert offenders(words_of_page(f"<style>x</style><p>{escaped}</p>"))
    assert offenders(words_of_page(f'<svg aria-label="{escaped}"></svg>'))


def test_the_search_leaves_the_words_of_the_trade_alone() -> None:
    """Board, trace and step are words; so are keys of documents, names of parts and of files."""
    assert offenders("Board tarnbeck-8: the Trace of FETCH at U1.27, 4.75 .. 5.25 V, +5V, *IDN?, run 20260101-1") == []
    assert words_of_json('{"told_apart": true, "next_check": null}') == ""
    with pytest.raises(AssertionError, match="NaN"):
        words_of_json('{"value": NaN}')


def test_the_search_knows_the_code() -> None:
    """The names come from the code itself: all classes of both packages, all exceptions of the language."""
    assert {"RunStarted", "SimulatedBench", "AutobenchError", "CheckRequest", "World"} <= class_names()
    assert {"KeyError", "OSError", "KeyboardInterrupt"} <= exception_names()
    assert offenders(repr(Verdict.WITHIN))


HOSTILE = '<script>alert("x")</script>&\'\x1b[2J\x07\u202e\u2066\x00'


def test_names_from_outside_stay_texts(desk: Desk) -> None:
    """Markup, control characters and direction marks in names, notes and a board file's words reach no screen or page.

    Screen and page show them spelt out; the document keeps the very same name.
    """
    hostile = HOSTILE.replace("\x00", "")  # no command line can hold that one
    shipped = (ROOT / "sequences" / "boards" / "tarnbeck-8.yaml").read_text(encoding="utf-8")
    words = "words: single-board computer, class R CPU"
    assert words in shipped
    file = desk.folder / "own.yaml"
    file.write_text(shipped.replace(words, f"words: {json.dumps(hostile[:28] + '&')} # "), encoding="utf-8")
    record = ("--records", str(desk.records))
    check = ("check", str(file), "--serial", hostile, "--operator", hostile, "--only", "ohms", "--unattended", *record)
    for more in (("--json",), ()):
        code, out, err = desk.run(*check, *more)
        assert code == 0
        assert all(sign.isprintable() or sign == "\n" for sign in err)
        if more:
            assert json.loads(out)["serial"] == hostile
        assert desk.run("repair", "last", hostile, "--operator", hostile, *record)[0] == 0
    assert "\\x1b[2J\\x07\\u202e\\u2066" in err
    for line in (("history",), ("history", "--serial", hostile), ("show", "last")):
        _, out, _ = desk.run(*line, *record)
        assert all(sign.isprintable() or sign == "\n" for sign in out)
    desk.report()
    page = (desk.folder / "page.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(&#34;x&#34;)&lt;/script&gt;" in page
    assert "\\x1b[2J\\x07\\u202e\\u2066" in page
    assert {sign for sign in page if not sign.isprintable()} <= {"\n", "\u00a0"}
