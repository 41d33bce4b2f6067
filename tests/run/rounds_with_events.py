"""A whole round on a simulated bench in this process, in which a test does things to the bench as events come."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from autobench import app
from autobench.events import Event
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.benches.truth import OutputChange

Deed = Callable[[Event, SimulatedBench], None]


class Round:
    """One round; `deed` gets every event and the bench. What really happened is told by the bench afterwards.

    A deed that raises is a display that fails; `events` are kept by another one, so that they go on.
    """

    def __init__(
        self,
        folder: Path,
        monkeypatch: pytest.MonkeyPatch,
        deed: Deed,
        *,
        board: str = "tarnbeck-8",
        options: Mapping[str, str] | None = None,
        only: tuple[str, ...] = (),
        seed: int = 1,
        sequence: str = "baseline",
        faults: tuple[str, ...] = (),
    ) -> None:
        self.events: list[Event] = []
        opened: list[SimulatedBench] = []
        open_simulation = app.open_simulation

        def caught(*arguments: object) -> SimulatedBench | None:
            bench = open_simulation(*arguments)  # type: ignore[arg-type]  # passed on as they came
            opened.extend([bench] if bench is not None else [])
            return bench

        monkeypatch.setattr(app, "open_simulation", caught)

        def acting(event: Event) -> None:
            deed(event, opened[0])

        request = app.CheckRequest(
            board,
            records=str(folder / "record.sqlite"),
            unattended=True,
            options=dict(options or {}),
            only=only,
            sequence=sequence,
            simulation=app.Simulation(seed=seed, faults=faults),
        )
        self.state: RunState = app.check(request, [self.events.append, acting])
        self.bench = opened[0]

    @property
    def changes(self) -> list[OutputChange]:
        """Every setting of an output, by the simulator's truth."""
        return self.bench.world.changes

    def off_at(self, output: int) -> float:
        """When an output went off for the last time, by the simulator's truth."""
        was_on, off = False, -1.0
        for change in self.changes:
            if change.output == output:
                if was_on and not change.on:
                    off = change.time
                was_on = change.on
        assert not was_on, f"output {output} is still on"
        return off

    @property
    def any_on(self) -> bool:
        """Whether anything is on at the end."""
        return self.bench.truth().any_on
