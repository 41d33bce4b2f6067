"""Misbehaving instruments within a run, over every transport: it ends in the stated time with the output off by the
simulator's own truth, says in words what is wrong with which instrument, and the next run on the same bench is in step.

The instruments wait on a clock that jumps; what the wire does, and every deadline of the program, is in real time.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from autobench import app
from autobench.documents.places import find_bench
from autobench.events import Event, StepStarted
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.connections.misbehaviour import Misbehaviour

REAL = ("raw socket", "hislip", "vxi-11", "serial")
TRANSPORTS = ("in process", *REAL)
STEPS = ("rail +5V cpu", "rail +5V far", "clock CLK15")
# s. A reading has 5.1 s (2 s and the reading's own time, with a margin), asking why another 1.5 s; then comes OFF. To
# bring the link back in step may take 3.5 s and opening it anew 10 s more, for the instrument that misbehaves and no
# other. The rest is for a busy machine.
OFF_WITHIN = 9.0
STATED = 25.0
# Short replies still come within their own deadlines, a second each, until the first long one does not.
SLOW = (60.0, 75.0)
WIRE_SAYS = r"(the connection (is lost|failed)|the message ended)"
NO_REPLY = r"no (complete )?reply to \S+.* within \d\.\d s"


@dataclass(frozen=True)
class Case:
    """What goes wrong with which instrument, from the start of which step on, and what the reason says."""

    name: str
    instrument: str
    step: str
    does: Callable[[SimulatedBench, str], None]
    words: str
    within: tuple[float, float] = (OFF_WITHIN, STATED)  # s to OFF, and to the end of the run


def wire(**kind: Any) -> Callable[[SimulatedBench, str], None]:
    """The connection does something to what comes over it."""
    return lambda bench, name: bench.misbehave(name, Misbehaviour(**kind))


def unplugged(bench: SimulatedBench, name: str) -> None:
    """The instrument says nothing any more."""
    bench.unplug(name)


def full_queue(bench: SimulatedBench, name: str) -> None:
    """Somebody else's errors fill the instrument's queue until it runs over."""
    for _ in range(25):
        bench.devices[name].report(-113)


GARBAGE = b"\xff\x00HX\x93~garbage" * 3 + b"\n"
CASES = [
    Case("no reply", "meter", "rail +5V far", unplugged, rf"^meter: {NO_REPLY}.*is it switched on and plugged in"),
    Case("late reply", "meter", "rail +5V far", wire(held=6.4, times=1), rf"^meter: {NO_REPLY}; "),
    Case("half a block", "scope", "clock CLK15", wire(cut=300), rf"^scope: {NO_REPLY}"),
    Case("close in a block", "scope", "clock CLK15", wire(cut=300, then="close"), rf"^scope: .*{WIRE_SAYS}"),
    Case("reset", "scope", "clock CLK15", wire(cut=300, then="reset"), rf"^scope: .*{WIRE_SAYS}"),
    Case("garbage", "meter", "rail +5V far", wire(garbage=GARBAGE), r"^meter: .*"),
    Case("one byte every 50 ms", "scope", "clock CLK15", wire(drip=0.05), rf"^scope: {NO_REPLY}", SLOW),
    Case("dead peer", "meter", "rail +5V far", wire(frozen=True), r"^meter: (no reply to|could not send) "),
    Case("full error queue", "supply", "power on", full_queue, r"^supply: reported -113,.*-350,"),
    Case("late reply", "supply", "power on", wire(held=2.6, times=1), rf"^supply: {NO_REPLY}; "),
    Case("garbage", "supply", "power on", wire(garbage=GARBAGE, times=1), r"^supply: "),
    Case("reset", "supply", "power on", wire(cut=1, then="reset", times=1), rf"^supply: .*{WIRE_SAYS}"),
]


class Stand:
    """A served bench, its bench file, and everything a run on it said."""

    def __init__(self, folder: Path, transport: str, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.transport = folder, transport
        self.bench = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=3)
        self.events: list[Event] = []
        self.pinned: dict[str, str] = {}  # serial numbers that the bench file wants
        self.began_wrong: float | None = None
        self.off_after: float | None = None
        if transport == "in process":
            monkeypatch.setattr(app, "open_simulation", lambda *_: self.bench)

    def bench_file(self) -> Path:
        """The shipped bench file, with the addresses of the served instruments where they are served."""
        text = find_bench("simulated").read_text(encoding="utf-8")
        if self.transport != "in process":
            serve = {
                "raw socket": self.bench.serve_sockets,
                "hislip": self.bench.serve_hislip,
                "vxi-11": self.bench.serve_vxi11,
                "serial": self.bench.serve_serial,
            }
            text = text.replace("simulated: in-process", "simulated: served")
            for name, address in serve[self.transport]().items():
                text = text.replace(self.bench.addresses[name], address)
            if self.transport in ("hislip", "vxi-11"):  # no second process can send OFF over these
                text = re.sub(r"(?m)^(    supply: supply\n)", r"\1    accept: no guard\n", text)
        for name, serial in self.pinned.items():
            text = text.replace(f"\n  {name}:\n", f"\n  {name}:\n    serial: '{serial}'\n")
        path = self.folder / f"{self.transport}.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    def run(self, view: Callable[[Event], None] = lambda _: None) -> RunState:
        """A short run with the board on."""
        request = app.CheckRequest(
            "tarnbeck-8",
            bench=str(self.bench_file()),
            records=str(self.folder / "records.sqlite"),
            options={"video": "late"},
            only=STEPS,
            unattended=True,
        )
        return app.check(request, [view, self.watch], clock=self.bench.clock)

    def watch(self, event: Event) -> None:
        """Keep the events, and notice when the supply is off after things went wrong."""
        self.events.append(event)
        live = {change.output: change.on for change in self.bench.world.changes}
        if self.began_wrong is not None and self.off_after is None and not any(live.values()):
            self.off_after = self.now() - self.began_wrong

    def now(self) -> float:
        """The time that the program's deadlines count in."""
        return self.bench.clock.now() if self.transport == "in process" else time.monotonic()


def fails_safe(stand: Stand, case: Case) -> None:
    """The run stops in the stated time, off, with the right words."""

    def begin(event: Event) -> None:
        if isinstance(event, StepStarted) and event.step == case.step and stand.began_wrong is None:
            stand.began_wrong = stand.now()
            case.does(stand.bench, case.instrument)

    state = stand.run(begin)
    assert stand.began_wrong is not None
    really = stand.now() - stand.began_wrong
    assert state.ended is not None
    assert state.ended.verdict == "stopped"
    assert re.search(case.words, state.ended.reason or ""), state.ended.reason
    assert not stand.bench.truth().any_on
    assert stand.off_after is not None
    assert stand.off_after <= case.within[0]
    assert really <= case.within[1]


def in_step(stand: Stand, case: Case) -> None:
    """Once it behaves again, the next session finds the board good, and no error is left in any instrument."""
    stand.bench.plug_in(case.instrument)
    state = stand.run()
    assert state.ended is not None
    assert (state.ended.verdict, state.ended.reason) == ("good", None)
    assert not stand.bench.truth().any_on
    assert all(len(device.errors) == 0 for device in stand.bench.devices.values())


# What is tried in every run of the tests; the rest takes real time and is long.
ORDINARY = {
    ("in process", "no reply", "meter"),
    ("in process", "garbage", "meter"),
    ("in process", "full error queue", "supply"),
    ("raw socket", "close in a block", "scope"),
    ("raw socket", "reset", "supply"),
}


def every_case() -> list[Any]:
    """The matrix, with what is long marked so."""
    rows = []
    for transport in TRANSPORTS:
        for case in CASES:
            ordinary = (transport, case.name, case.instrument) in ORDINARY
            name = f"{transport}: {case.name} of the {case.instrument}"
            rows.append(pytest.param(transport, case, id=name, marks=() if ordinary else pytest.mark.long))
    return rows


@pytest.mark.parametrize(("transport", "case"), every_case())
def test_a_run_with_a_misbehaving_instrument_ends_safe(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, transport: str, case: Case
) -> None:
    """Stopped in time, off, in the right words, and in step afterwards."""
    stand = Stand(tmp_path, transport, monkeypatch)
    with stand.bench:
        fails_safe(stand, case)
        in_step(stand, case)


@pytest.mark.parametrize(
    "transport", ["in process", *(pytest.param(transport, marks=pytest.mark.long) for transport in REAL)]
)
@pytest.mark.parametrize("instrument", ["supply", "meter"])
def test_another_instrument_than_the_pinned_one_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, transport: str, instrument: str
) -> None:
    """A bench file that wants another serial number: nothing was ever on; with the right one the board is good."""
    stand = Stand(tmp_path, transport, monkeypatch)
    with stand.bench:
        identity = stand.bench.devices[instrument].identity
        stand.pinned = {instrument: "31415"}
        state = stand.run()
        assert state.ended is not None
        wanted = f"{instrument}: serial number 31415 is wanted, but '{identity}' answers"
        assert (state.ended.verdict, state.ended.reason) == ("stopped", wanted)
        assert stand.bench.truth().times_on == 0
        stand.pinned = {instrument: identity.split(",")[2]}
        state = stand.run()
        assert state.ended is not None
        assert (state.ended.verdict, state.ended.reason) == ("good", None)
