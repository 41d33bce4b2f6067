"""Files, words and replies nobody foresaw: one clear error, nothing executed, nothing left on, no traceback.

Five seconds for a file and bounded memory are what issue 5 asks for; the alarm is there to find hangs, not to measure.
"""

from __future__ import annotations

import random
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import pytest

from autobench import app
from autobench.__main__ import main
from autobench.documents import places
from autobench.documents.driver import Driver
from autobench.documents.gathered import read_documents
from autobench.documents.reading import read
from autobench.errors import AutobenchError, FileError, ProtocolError, ReplyError, UsageError
from autobench.events import Event, Truth
from autobench.instruments import visa
from autobench.instruments.decoders import BY_LENGTH, decode
from autobench.plan.acceptance import require_accepted
from autobench.plan.planner import Planner
from autobench.protocols.blocks import BlockReader
from autobench.views.run_state import RunState
from tests.whole.hostile import BOMB, PIECES, damaged_file, damaged_reply
from tests.whole.memory_peak import memory_peak

FILES = 500
REPLIES = 10_000
SECONDS = 5
MEGABYTES = 300  # more than this beyond the beginning is memory that is not bounded
SHIPPED = {
    "board": places.list_boards(),
    "bench": places.list_benches(),
    "sequence": places.list_sequences(),
    "driver": places.list_drivers(),
}
# Replies as the instruments of these dialects give them; what they are damaged from.
SOUND = (
    b"+5.00000000E+00",
    b"1",
    b"0",
    b'+0,"No error"',
    b"ALDER STREET,PS-3,42703,1.0",
    b"+4.98712E+00,+4.98713E+00,+4.98711E+00",
    b"0,0,1000,1,4.0E-09,-2.0E-06,0,4.0E-02,1.2E-01,128",
    b"#800000010AAAAAAAAAA",
    b"1,0,1,1",
    b"STOP",
)


@contextmanager
def no_hang(seconds: float = SECONDS) -> Iterator[None]:
    """Five seconds of computing, or a minute in all on a busy machine: then the test fails where it hangs."""

    def hangs(number: int, frame: FrameType | None) -> None:
        raise TimeoutError("hangs")

    former = {number: signal.signal(number, hangs) for number in (signal.SIGALRM, signal.SIGPROF)}
    signal.setitimer(signal.ITIMER_PROF, seconds)
    signal.setitimer(signal.ITIMER_REAL, 12 * seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in former.items():
            signal.signal(number, handler)


def prepared(kind: str, path: Path, folder: Path) -> None:
    """Everything a round does with its files before anything is opened; raises `UsageError` for what is wrong."""
    named = {"board": "tarnbeck-8", "bench": "simulated", "sequence": "baseline"}
    if kind == "driver":
        bench = folder / "bench.yaml"
        text = places.find_bench("simulated").read_text(encoding="utf-8")
        bench.write_text(text.replace("driver: ps-3", f"driver: {path}"), encoding="utf-8")
        named["bench"] = str(bench)
    else:
        named[kind] = str(path)
    documents = read_documents(named["board"], named["bench"], named["sequence"])
    plan = Planner(documents.bench, documents.drivers, documents.board, {}).plan(documents.sequence)
    require_accepted(documents.bench, documents.drivers, plan.rails, True)


def file_of_seed(seed: int, folder: Path) -> tuple[str, Path]:
    chance = random.Random(seed)
    kind = chance.choice(list(SHIPPED))
    _, shipped = chance.choice(SHIPPED[kind])
    path = folder / f"{seed}.yaml"
    path.write_bytes(damaged_file(shipped.read_text(encoding="utf-8"), seed))
    return kind, path


def held_to_words(seeds: range, folder: Path) -> int:
    """Every damaged file is taken or refused in words; returns how many were refused."""
    refused = 0
    for seed in seeds:
        kind, path = file_of_seed(seed, folder)
        said = ""
        with no_hang(), memory_peak() as peak:
            try:
                prepared(kind, path, folder)
            except UsageError as error:
                refused += 1
                said = str(error)
        assert peak.megabytes < MEGABYTES, seed
        for line in said.split("\n"):
            assert line.isprintable(), (seed, line)
            assert len(line) < 3000, (seed, len(line))
        path.unlink()
    return refused


def test_damaged_files_are_refused_in_words(tmp_path: Path) -> None:
    """Sixty files, damaged by seed: each is either still right or refused with mistakes one can read."""
    assert held_to_words(range(60), tmp_path) > 20


@pytest.mark.long
@pytest.mark.parametrize("part", range(10))
def test_five_hundred_damaged_files(tmp_path: Path, part: int) -> None:
    """The whole five hundred, with other seeds."""
    each = FILES // 10
    assert held_to_words(range(1000 + each * part, 1000 + each * (part + 1)), tmp_path) > each // 3


@pytest.mark.parametrize("kind", ["board", "bench", "sequence"])
@pytest.mark.parametrize(
    "text",
    [
        BOMB,
        "[" * 100_000,
        "{a: " * 50_000,
        "a: 1\n" * 100_000,
        "!!python/object/apply:os.system [touch /tmp/never]",
        "\x00",
        "board: !!binary aGVsbG8=",
        "board: " + "9" * 1_000_000,
        "%YAML 9.9\n---\na: b",
    ],
    ids=["bomb", "lists", "mappings", "twice", "object", "nul", "binary", "long", "version"],
)
def test_a_hostile_file_ends_with_exit_2(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], kind: str, text: str
) -> None:
    """Bombs, depth, sheer size, tags that would run something: exit 2, words, nothing switched on, no document."""
    path = tmp_path / "hostile.yaml"
    path.write_text(text, encoding="utf-8")
    words = {"board": [str(path)], "bench": ["tarnbeck-8", "--bench", str(path)]}.get(kind)
    command = ["check", *(words or ["tarnbeck-8", "--sequence", str(path)]), "--json", "--unattended"]
    with no_hang(), memory_peak() as peak:
        assert main([*command, "--records", str(tmp_path / "r.sqlite")]) == 2
    assert peak.megabytes < MEGABYTES
    out, err = capfd.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert "nothing was switched on" in err or "autobench:" in err
    assert not (tmp_path / "r.sqlite").exists()


@pytest.mark.parametrize("piece", [*PIECES, "", "-", "--", "a" * 300, "../x", "con", "."])
def test_hostile_words_on_the_command_line(tmp_path: Path, capfd: pytest.CaptureFixture[str], piece: str) -> None:
    """A board's name, an option, a bench, a step: exit 2 in printable words; what is no path of ours stays unmade."""
    for words in (
        [piece],
        ["tarnbeck-8", "--with", f"video={piece}"],
        ["tarnbeck-8", "--bench", piece],
        ["tarnbeck-8", "--sequence", piece],
        ["tarnbeck-8", "--only", piece],
        ["tarnbeck-8", "--fault", piece],
    ):
        with no_hang():
            code = main(["check", "--unattended", "--records", str(tmp_path / "r.sqlite"), *words])
        out, err = capfd.readouterr()
        assert code == 2, words
        assert "Traceback" not in out + err
        assert "went wrong inside" not in err
        assert "\x1b" not in err
        assert "\x07" not in err


def test_damaged_replies_are_decoded_or_refused() -> None:
    """Ten thousand damaged replies to every kind of question of every shipped driver: an answer, or words."""
    chance = random.Random(5)
    drivers = [read(path, Driver) for _, path in places.list_drivers()]
    actions = [
        action
        for driver in drivers
        for action in driver.actions.values()
        if action.answer is not None and action.answer not in BY_LENGTH
    ]
    refused, said = 0, list[str]()
    with no_hang(), memory_peak() as peak:
        for _ in range(REPLIES):
            text = damaged_reply(chance.choice(SOUND), chance).decode("latin-1")
            action = chance.choice(actions)
            try:
                decode("supply", action, text, unit=action.unit or "", asked="X?")
            except ReplyError as error:
                refused += 1
                said.append(str(error))
    assert refused > REPLIES // 4
    assert all(words.isprintable() and len(words) < 500 for words in said)
    assert peak.megabytes < MEGABYTES


def test_damaged_blocks_are_read_or_refused() -> None:
    """Blocks whose heads lie never make the reader take more than it was given."""
    chance = random.Random(6)
    said = []
    for _ in range(2000):
        data = damaged_reply(b"#3200" + bytes(200), chance)
        reader = BlockReader()
        try:
            while data and not reader.complete:
                piece, data = data[: max(1, min(reader.wanted, 64))], data[max(1, min(reader.wanted, 64)) :]
                reader.feed(piece)
        except ProtocolError as error:
            said.append(str(error))
    assert said
    assert all(words.isprintable() for words in said)


def round_with_damaged_replies(seed: int, share: float, folder: Path, monkeypatch: pytest.MonkeyPatch) -> RunState:
    """A whole round in which that share of all replies is damaged."""
    chance, events = random.Random(seed), list[Event]()
    sound = visa.VisaSession.read_message

    def damaged(session: visa.VisaSession, within: float) -> bytes:
        reply = sound(session, within)
        return damaged_reply(reply, chance) if chance.random() < share else reply

    with monkeypatch.context() as patched:
        patched.setattr(visa.VisaSession, "read_message", damaged)
        request = app.CheckRequest("tarnbeck-8", records=str(folder / "r.sqlite"), unattended=True)
        try:
            with memory_peak() as peak:
                state = app.check(request, [events.append])
        except AutobenchError as error:
            raise AssertionError(f"seed {seed}: {error}") from error
    assert peak.megabytes < MEGABYTES, seed
    for event in events:
        if isinstance(event, Truth):
            assert not any(event.outputs.values()), seed
            assert max(event.most_volts.values()) <= 5.5, seed  # the board file's trip
    return state


@pytest.mark.parametrize("seed", range(6))
def test_a_round_with_damaged_replies_ends_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Replies damaged here and there: the round ends with a verdict, everything off by the simulator's truth."""
    state = round_with_damaged_replies(seed, 0.01, tmp_path, monkeypatch)
    assert state.ended is not None
    assert state.ended.verdict in app.EXIT_CODES


@pytest.mark.long
@pytest.mark.parametrize("part", range(8))
def test_many_rounds_with_damaged_replies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: int) -> None:
    """Forty rounds, from one damaged reply in a thousand to one in five."""
    for number in range(5):
        share = (0.001, 0.003, 0.01, 0.05, 0.2)[number]
        state = round_with_damaged_replies(100 + 10 * part + number, share, tmp_path, monkeypatch)
        assert state.ended is not None


def test_markup_in_an_identity_is_text_in_the_report(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an instrument calls itself is shown as it is, and never obeyed by a browser or a terminal."""
    name = "ALDER STREET,<script>alert(1)</script>\x1b[2J,42703,1.0"
    sound = visa.VisaSession.read_message

    def named(session: visa.VisaSession, within: float) -> bytes:
        reply = sound(session, within)
        return name.encode() if reply.startswith(b"ALDER") else reply

    monkeypatch.setattr(visa.VisaSession, "read_message", named)
    records, page = str(tmp_path / "r.sqlite"), tmp_path / "page.html"
    main(["check", "tarnbeck-8", "--unattended", "--records", records, "--report", str(page), "--only", "ohms"])
    text = page.read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)" in text
    assert "\x1b" not in text


def test_a_file_error_names_every_file(tmp_path: Path) -> None:
    """The harness itself: a file that is plainly wrong is refused by the same way the damaged ones take."""
    path = tmp_path / "x.yaml"
    path.write_text("board: 7\n", encoding="utf-8")
    with pytest.raises(FileError):
        prepared("board", path, tmp_path)


def test_the_measure_of_memory_sees_what_is_held_for_a_moment() -> None:
    """The harness itself: 150 MB that were there for a moment count, whatever this process held before."""
    before = bytearray(200 * 1024 * 1024)
    before[::4096] = b"x" * len(before[::4096])
    del before
    with memory_peak() as nothing:
        pass
    with memory_peak() as much:
        held = bytearray(150 * 1024 * 1024)
        held[::4096] = b"x" * len(held[::4096])
        del held
    assert nothing.megabytes < 20.0
    assert 140.0 < much.megabytes < 200.0


def test_a_hang_is_told() -> None:
    """The harness itself: what computes for ever is broken off."""

    def for_ever() -> None:
        while True:
            pass

    with pytest.raises(TimeoutError, match="hangs"), no_hang(0.2):
        for_ever()
