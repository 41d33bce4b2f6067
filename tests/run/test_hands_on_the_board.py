"""Hands are asked onto the board only after every rail was measured off, and nothing is measured without its power.

Below 0.5 V is the design's: no part is powered there. By the simulator's truth on the bench that ships.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from autobench import app
from autobench.documents.reading import read
from autobench.documents.sequence import Sequence
from autobench.errors import FileError
from autobench.events import Event, PowerChanged, Prompted
from autobench.views.run_state import RunState
from simulated_instruments.bench import SimulatedBench
from tests.run.bystanders import Operator

SEQUENCE = """\
sequence: hands
words: something is reseated in the middle
steps:
  - {step: "ohms {rail}", stage: ohms, measure: ohms, for each: rail}
  - {step: "polarity {rail}", stage: power, power: polarity, for each: rail}
  - {step: power on, stage: power, power: on}
  - {step: "rail {rail} {place}", stage: rails, measure: rail, for each: place}
  - {step: reseat, stage: rails, ask: "Reseat U1. Is it back in its socket?", hands: yes}
  - {step: "still {rail} {place}", stage: rails, measure: rail, for each: place}
  - {step: power back, stage: rails, power: on}
  - {step: "again {rail} {place}", stage: rails, measure: rail, for each: place}
  - {step: power off, stage: rails, power: off}
"""


class Job:
    """That sequence, with somebody who says yes; how every output really stood when they were asked."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (folder / "hands.yaml").write_text(SEQUENCE, encoding="utf-8")
        opened: list[SimulatedBench] = []
        open_simulation = app.open_simulation

        def caught(*arguments: object) -> SimulatedBench | None:
            bench = open_simulation(*arguments)  # type: ignore[arg-type]  # passed on as they came
            opened.extend([bench] if bench is not None else [])
            return bench

        monkeypatch.setattr(app, "open_simulation", caught)
        keys = Operator(answer=lambda prompt, _: ("yes",) if prompt.kind == "question" else ())
        self.on_when_asked: list[bool] = []
        self.volts_when_asked: list[float] = []
        self.states: list[str] = []

        def show(event: Event) -> None:
            keys.show(event)
            if isinstance(event, PowerChanged):
                self.states.append(event.state)
            if isinstance(event, Prompted) and event.kind == "question":
                truth = opened[0].truth()
                self.on_when_asked.append(truth.any_on)
                self.volts_when_asked.append(truth.between("J1.1", "J1.2"))

        request = app.CheckRequest(
            "tarnbeck-8", sequence=str(folder / "hands.yaml"), records=str(folder / "r.sqlite"), operator="x"
        )
        self.state: RunState = app.check(request, [show], keys=keys)

    def verdicts(self, word: str) -> set[str]:
        return {str(reading.verdict) for reading in self.state.readings if reading.step.startswith(word)}


def test_hands_are_asked_for_with_every_rail_measured_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Off, proved, and below 0.5 V; what comes before power is back is left out, and no board is accused of it."""
    job = Job(tmp_path, monkeypatch)
    assert job.on_when_asked == [False]
    assert abs(job.volts_when_asked[0]) < 0.5
    assert job.verdicts("rail") == {"within"}
    assert job.verdicts("still") == {"skipped"}
    assert job.verdicts("again") == {"within"}
    assert job.states.count("on") >= 2  # it came back, through the same gates
    assert job.state.ended is not None
    assert job.state.ended.verdict == "undecided"  # three readings were asked for and not taken


@pytest.mark.parametrize(
    "words", ["Lift pin 5 of U3.", "Now swap U3 and U4", "Please reseat the ROM", "Unplug the keyboard", "Desolder C4"]
)
def test_words_for_hands_without_their_key_are_refused(tmp_path: Path, words: str) -> None:
    """A file that asks hands onto a live board is refused, with what to write; with it, it is taken."""
    path = tmp_path / "x.yaml"
    text = f"sequence: x\nwords: x\nsteps:\n  - step: a\n    stage: cpu\n    ask: {words}\n"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError, match=r"add 'hands: yes'"):
        read(path, Sequence)
    path.write_text(text + "    hands: yes\n", encoding="utf-8")
    assert read(path, Sequence).steps[0].hands


def test_hands_belong_to_a_question(tmp_path: Path) -> None:
    """Nothing else asks for them."""
    path = tmp_path / "x.yaml"
    path.write_text(
        "sequence: x\nwords: x\nsteps:\n  - step: a\n    stage: cpu\n    wait: 1 s\n    hands: yes\n", encoding="utf-8"
    )
    with pytest.raises(FileError, match="belongs to a step that asks"):
        read(path, Sequence)
