"""Somebody at the simulated bench for tests: reads the prompts as they come and presses keys."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from autobench import app
from autobench.events import Event, Prompted, PromptEnded, StepTakenAgain
from autobench.views.run_state import RunState

# What a willing operator answers without looking.
WILLING = {"clip": ["enter"], "power": ["enter"], "plug": ["enter"], "set": ["enter"], "switch": ["enter"]}

Answer = Callable[[Prompted, int], Sequence[str]]


@dataclass
class Operator:
    """Keys, and a view that fills them. `answer` may give keys for a prompt: it gets the prompt and how often that very
    point was asked for before; an empty answer leaves it to the willing operator."""

    answer: Answer = lambda _prompt, _times: ()
    patience: float = 8.0  # s after which a prompt that nobody answered gets `tired` keys
    tired: tuple[str, ...] = ("enter",)
    typing: bool = False
    pace: float = 1.0
    prompts: list[Prompted] = field(default_factory=list)
    ends: list[PromptEnded] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    _keys: list[str] = field(default_factory=list)
    _waited: float = 0.0

    def show(self, event: Event) -> None:
        """The view."""
        if isinstance(event, Prompted):
            times = sum(same_point(before, event) for before in self.prompts)
            self.prompts.append(event)
            self._keys = [*(self.answer(event, times) or WILLING.get(event.kind, ()))]
            self._waited = 0.0
        if isinstance(event, PromptEnded):
            self.ends.append(event)
        if isinstance(event, StepTakenAgain):
            self.again.append(event.step)

    def get(self, seconds: float) -> str | None:
        """The next key."""
        self._waited += seconds
        if not self._keys and self._waited > self.patience:
            self._keys, self._waited = list(self.tired), 0.0
        return self._keys.pop(0) if self._keys else None

    def off(self) -> bool:
        """Whether the off key waits."""
        return not self.typing and self._keys[:1] == ["off"]

    def forget(self) -> None:
        """Nothing: keys are pressed after the prompt was read."""

    def points(self) -> list[str]:
        """Every point that a tip was asked to, in order."""
        return [prompt.place.point for prompt in self.prompts if prompt.place is not None]


def same_point(one: Prompted, other: Prompted) -> bool:
    """Whether two prompts want the same tip at the same point in the same step."""
    return one.place is not None and one.place == other.place and one.step == other.step


def job(
    tmp_path: Path,
    operator: Operator,
    *only: str,
    board: str = "tarnbeck-8",
    bench: str = "hand",
    faults: Sequence[str] = (),
    seed: int = 0,
) -> RunState:
    """One round by hand on the simulated bench."""
    request = app.CheckRequest(
        board=board,
        bench=bench,
        only=only,
        records=str(tmp_path / "record.sqlite"),
        simulation=app.Simulation(faults=tuple(faults), seed=seed),
    )
    return app.check(request, [operator.show], keys=operator)
