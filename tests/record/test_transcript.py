"""The conversations of a whole run are in its record, and can be played back without any instrument."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from autobench import app
from autobench.clock import Clock
from autobench.documents.driver import Driver
from autobench.documents.places import find_bench
from autobench.instruments import opened
from autobench.instruments.exchange import Exchange
from autobench.instruments.link import Link
from autobench.instruments.replay import ReplaySession, replayed
from autobench.record.store import open_engine
from autobench.record.transcript import transcript_of
from autobench.views.run_state import RunState

STEPS = ("rail +5V cpu", "rail +5V far")


def bench_without_scope(folder: Path) -> str:
    """The simulated bench as a shop has it that owns no scope."""
    text = find_bench("simulated").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^  scope:\n(    .*\n)+", "", text)
    text = re.sub(r"(?m)^    scope \d: \d\n", "", text)
    text = re.sub(r"(?m)^(  tips: meter).*$", r"\1", text)
    path = folder / "no-scope.yaml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def run(folder: Path, name: str, *only: str, bench: str | None = None) -> RunState:
    """One simulated run with its own record."""
    records = str(folder / f"{name}.sqlite")
    return app.check(app.CheckRequest("tarnbeck-8", records=records, bench=bench, only=only, unattended=True))


def kept(folder: Path, name: str, state: RunState) -> list[Exchange]:
    """What the record has of its conversations."""
    assert state.started is not None
    engine = open_engine(str(folder / f"{name}.sqlite"))
    try:
        return transcript_of(engine, state.started.run)
    finally:
        engine.dispose()


def test_a_whole_run_is_played_back_to_the_same_readings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the record alone, with no instrument behind any link: every exchange is used, every reading is the same."""
    bench = bench_without_scope(tmp_path)
    first = run(tmp_path, "first", *STEPS, bench=bench)
    exchanges = kept(tmp_path, "first", first)
    sessions: list[ReplaySession] = []

    def connect(driver: Driver, _address: str, name: str, clock: Clock, *_: Any, **heard: Any) -> Link:
        link, session = replayed(driver, name, exchanges, clock)
        link.on_exchange, link.check = heard["on_exchange"], heard["check"]
        sessions.append(session)
        return link

    monkeypatch.setattr(opened, "connect", connect)
    second = run(tmp_path, "second", *STEPS, bench=bench)
    assert second.ended is not None
    assert (second.ended.verdict, second.ended.reason) == ("good", None)
    assert [(r.step, r.value) for r in second.readings] == [(r.step, r.value) for r in first.readings]
    assert [session.rest for session in sessions] == [0] * len(sessions)
    again = kept(tmp_path, "second", second)
    assert [(each.instrument, each.sent, each.received) for each in again] == [
        (each.instrument, each.sent, each.received) for each in exchanges
    ]


def test_a_run_that_deviates_from_its_transcript_stops(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Other steps than were recorded: the first exchange that differs is named, and the run is stopped."""
    exchanges = kept(tmp_path, "first", run(tmp_path, "first", STEPS[0]))
    monkeypatch.setattr(
        opened,
        "connect",
        lambda driver, _address, name, clock, *_, **__: replayed(driver, name, exchanges, clock)[0],
    )
    second = run(tmp_path, "second", STEPS[1])
    assert second.ended is not None
    assert second.ended.verdict == "stopped"
    assert any("deviates from the transcript at exchange" in notice.words for notice in second.notices)


def test_a_reply_too_long_to_be_kept_stops_a_replay_in_words(tmp_path: Path) -> None:
    """Samples are kept as traces; the exchange that brought them says so."""
    exchanges = kept(tmp_path, "scope", run(tmp_path, "scope", "clock CLK15"))
    long = [each for each in exchanges if each.error]
    assert long
    assert all("was not kept whole" in (each.error or "") for each in long)
    assert {each.instrument for each in long} == {"scope"}
    assert {each.sent for each in long} == {b":WAV:DATA?"}
