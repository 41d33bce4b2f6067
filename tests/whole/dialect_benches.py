"""The simulated fixture bench with other dialects in it: a bench file, a wiring of its own, and what was seen.

The bench feeds +5V alone, which every supply has an output for. Nothing here is checked.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from autobench import app
from autobench.documents.places import find_bench
from autobench.events import Event, StepStarted, Truth
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench, reference_plug
from simulated_instruments.benches.wiring import FOLDER
from tests.run.bystanders import Operator

LACKS = {"ps-5": "no trip", "ps-6": "no read-back"}
SMALL = 6  # positions of the small plate for the reference plug


@dataclass
class DialectBench:
    """One bench with its files. `own` is a driver file beside the bench file, in place of the supply's shipped one;
    `manners` are set on the simulated supply, by name; `wrong` is
    what happens to the bench at the start of a step."""

    folder: Path
    supply: str = "ps-3"
    relays: str = "w-1"
    own: str | None = None
    faults: tuple[str, ...] = ()
    manners: dict[str, Any] = field(default_factory=dict)
    wrong: tuple[str, Callable[[SimulatedBench], None]] | None = None
    events: list[Event] = field(default_factory=list)

    def wiring(self) -> Path:
        """The fixture's wiring with these devices."""
        text = (FOLDER / "fixture.yaml").read_text(encoding="utf-8")
        text = text.replace("device: PS-3", f"device: {self.supply.upper()}")
        text = text.replace("device: W-1", f"device: {self.relays.upper()}")
        file = self.folder / "wiring.yaml"
        file.write_text(text, encoding="utf-8")
        return file

    def bench_file(self, *, plug: bool) -> Path:
        """The shipped bench file with these drivers; `plug`: with a small plate for the reference plug only."""
        text = find_bench("simulated").read_text(encoding="utf-8")
        text = re.sub(r"(?s)\n  \+12V:\n    supply.*?\n\n# Relay channel", "\n\n# Relay channel", text)
        text = re.sub(r"\n    (\+12V|-5V): \{point.*", "", text)
        text = text.replace("driver: w-1", f"driver: {self.relays}")
        text = text.replace("driver: ps-3", f"driver: {'mine' if self.own else self.supply}")
        if lack := LACKS.get(self.supply):
            text = text.replace("compensate leads: yes ", f"accept: {lack}\n    compensate leads: yes ", 1)
        if plug:
            plate = "".join(f"    P1.{number}: {number}\n" for number in range(1, SMALL + 1))
            text = re.sub(r"(?s)\nfixtures:\n.*?\n\n# Loads", f"\nfixtures:\n  reference-plug:\n{plate}\n# Loads", text)
            text = re.sub(r"(?s)\nterminated:\n.*?\n\n", "\n", text)
            text = text.replace("tips: meter, scope 4", "tips: meter")
        if plug and self.relays == "w-4":  # sixteen relays are the meter's
            text = re.sub(r"    scope \d: \d\n", "", text)
            text = re.sub(r"(?s)  scope:\n.*?\n\n", "\n", text, count=1)
        file = self.folder / "bench.yaml"
        file.write_text(text, encoding="utf-8")
        if self.own is not None:
            (self.folder / "mine.yaml").write_text(self.own, encoding="utf-8")
        return file

    def simulated(self, board: str, monkeypatch: pytest.MonkeyPatch) -> SimulatedBench:
        """The bench itself, which the program will get for its bench file."""
        if board == "reference-plug":
            bench = SimulatedBench.open(
                board, faults=self.faults, seed=3, circuit=reference_plug(), wiring=self.wiring()
            )
        else:
            options = {"video": "late"}
            bench = SimulatedBench.open(board, options=options, faults=self.faults, seed=3, wiring=self.wiring())
        for name, value in self.manners.items():
            setattr(bench.devices["supply"], name, value)
        monkeypatch.setattr(app, "open_simulation", lambda *_: bench)
        monkeypatch.setattr(app, "open_proof", lambda *_: bench)
        return bench

    def checked(self, monkeypatch: pytest.MonkeyPatch, *only: str) -> RunState:
        """A round of `tarnbeck-8`, or some steps of it, with somebody there."""
        with self.simulated("tarnbeck-8", monkeypatch) as bench:
            operator = Operator()

            def misbehave(event: Event) -> None:
                if self.wrong and isinstance(event, StepStarted) and event.step == self.wrong[0]:
                    self.wrong[1](bench)

            request = app.CheckRequest(
                "tarnbeck-8",
                bench=str(self.bench_file(plug=False)),
                records=str(self.folder / "records.sqlite"),
                options={"video": "late"},
                only=only,
            )
            return app.check(request, [self.events.append, operator.show, misbehave], keys=operator)

    def proved(self, monkeypatch: pytest.MonkeyPatch) -> RunState:
        """The proof of the bench, with somebody there."""
        with self.simulated("reference-plug", monkeypatch):
            operator = Operator()
            return app.prove(
                str(self.bench_file(plug=True)),
                app.Simulation(),
                [self.events.append, operator.show],
                records=str(self.folder / "records.sqlite"),
                keys=operator,
            )

    def most_volts(self) -> float:
        """The highest volts there ever were at any inlet, by the simulator's own knowledge."""
        truths = [event for event in self.events if isinstance(event, Truth)]
        return max(abs(volts) for truth in truths for volts in truth.most_volts.values())

    def left_on(self) -> list[str]:
        """Outputs that are on at the end, by the simulator's own knowledge."""
        truths = [event for event in self.events if isinstance(event, Truth)]
        return [name for truth in truths for name, on in truth.outputs.items() if on]
