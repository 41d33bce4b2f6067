"""Proofs of simulated benches for tests: a bench file with a small plate, own drivers beside it, and what was seen."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from autobench import app
from autobench.documents.places import find_bench
from autobench.events import Event, Truth
from autobench.judgement.reading import Reading
from autobench.views.run_state import RunState

POSITIONS = 6  # of the plate: the reference plug's four pins, and two pads that touch nothing


@dataclass
class Proven:
    """One proof that has ended."""

    state: RunState
    events: list[Event] = field(default_factory=list)

    @property
    def verdict(self) -> str:
        """How it ended."""
        return self.state.ended.verdict if self.state.ended else ""

    @property
    def reason(self) -> str:
        """Why."""
        return (self.state.ended.reason if self.state.ended else None) or ""

    def readings(self, quantity: str) -> list[Reading]:
        """All readings of a quantity."""
        return [reading for reading in self.state.readings if reading.quantity == quantity]

    def most_volts(self) -> float:
        """The highest volts there ever were at any inlet, by the simulator's own knowledge."""
        truths = [event for event in self.events if isinstance(event, Truth)]
        return max((abs(volts) for truth in truths for volts in truth.most_volts.values()), default=0.0)

    def left_on(self) -> list[str]:
        """Outputs that are on at the end."""
        truths = [event for event in self.events if isinstance(event, Truth)]
        return [name for truth in truths for name, on in truth.outputs.items() if on]


def bench_file(folder: Path, *changes: tuple[str, str], drivers: Mapping[str, str] | None = None) -> Path:
    """The shipped simulated bench with a small plate, and texts replaced; `drivers` are files beside it by name."""
    text = find_bench("simulated").read_text(encoding="utf-8")
    plate = "".join(f"    P1.{number}: {number}\n" for number in range(1, POSITIONS + 1))
    text = re.sub(r"(?s)\nfixtures:\n.*?\n\n# Loads", f"\nfixtures:\n  reference-plug:\n{plate}\n# Loads", text)
    text = text.replace("    scope 3: 5\n    scope 4: 6\n", "")  # two channels show what four would
    text = text.replace("tips: meter, scope 4", "tips: meter")
    text = re.sub(r"(?s)\nterminated:\n.*?\n\n", "\n", text)
    for old, new in changes:
        assert text.count(old) >= 1, old
        text = text.replace(old, new, 1)
    file = folder / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    for name, content in (drivers or {}).items():
        (folder / f"{name}.yaml").write_text(content, encoding="utf-8")
    return file


def proved(file: Path, *faults: str, seed: int = 0, records: Path | None = None, more: Sequence[str] = ()) -> Proven:
    """The proof of a bench file, with nobody there."""
    events: list[Event] = []
    state = app.prove(
        str(file),
        app.Simulation(faults=(*faults, *more), seed=seed),
        [events.append],
        records=str(records or file.with_name("records.sqlite")),
    )
    return Proven(state, events)
