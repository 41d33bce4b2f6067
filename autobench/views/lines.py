"""Plain lines while a run goes on: for a pipe, a log or a simple terminal. Shows events, decides nothing."""

from __future__ import annotations

import re
from typing import TextIO

from autobench.diagnosis.result import Diagnosis
from autobench.events import (
    CheckChosen,
    Diagnosed,
    Event,
    Investigated,
    Notice,
    PowerChanged,
    Prompted,
    PromptEnded,
    PromptProgress,
    ReadingTaken,
    RunEnded,
    RunStarted,
    StepStarted,
    StepTakenAgain,
    Watched,
)
from autobench.quantity import show
from autobench.views.run_state import RunState, fold
from autobench.views.wording import (
    SHOWN_STATES,
    aside,
    check_lines,
    diagnosis_lines,
    ended_words,
    harmless,
    investigated_lines,
    leading_words,
    prompt_words,
    reading_lines,
    started_words,
)

SAID = (
    RunStarted,
    StepStarted,
    ReadingTaken,
    PowerChanged,
    Notice,
    Prompted,
    PromptProgress,
    PromptEnded,
    StepTakenAgain,
    Diagnosed,
    CheckChosen,
    Investigated,
    RunEnded,
)
MOST_PROGRESS = 3  # lines about how one prompt stands: whoever holds a probe is not to be buried in them
FIGURES = re.compile(r"[-+−]?\d[\d.,]*(?: ?[A-Za-zµΩ%]+)?")


class Lines:
    """Writes one line for what a person should see; a marker in front of every line says when nothing is real."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._prefix = ""
        self._stage = ""
        self._said: str | None = None
        self._set: dict[str, tuple[str, float, float]] = {}
        self._lit: set[str] = set()  # rails that were shown as on and not yet as off
        self._outputs = RunState()  # what prompts need of it: outputs, their looks and the prompt itself
        self._progress: list[str] = []  # of this prompt, without figures
        self._checking = False  # whether checks beyond the round have begun: then suspects are told in short
        self._diagnosis = Diagnosis()

    def show(self, event: Event) -> None:
        """Write the lines of one event; most events have none."""
        if isinstance(event, Watched):
            self._outputs = fold(self._outputs, harmless(event))
        if not isinstance(event, SAID):
            return
        event = harmless(event)
        match event:
            case RunStarted():
                self._prefix = "SIMULATED  " if event.simulated else ""
                self._line(started_words(event))
                if event.guard:
                    self._line(event.guard)
            case StepStarted() if event.stage != self._stage:
                self._stage = event.stage
                self._line(f"– {event.stage} –")
            case ReadingTaken() if not aside(event.reading):
                for line in reading_lines(event.reading, self._said):
                    self._line(line)
                self._said = event.reading.reason
            case PowerChanged():
                self._power(event)
            case Notice():
                self._line(f"{'ALARM: ' if event.urgent else ''}{event.words}")
            case Prompted() | PromptProgress() | PromptEnded():
                self._prompt(event)
            case StepTakenAgain():
                self._line(f"{event.step} is taken again, what it said before counts no longer: {event.why}")
            case Diagnosed() if self._checking:
                self._diagnosis = event.diagnosis
                self._line(f"now leading: {leading_words(event.diagnosis)}")
            case Diagnosed():
                for line in diagnosis_lines(event.diagnosis):
                    self._line(line)
            case CheckChosen():
                self._checking = True
                for line in check_lines(event):
                    self._line(line)
            case Investigated():
                for line in investigated_lines(event, self._diagnosis if self._checking else Diagnosis()):
                    self._line(line)
            case RunEnded():
                self._line(f"{event.verdict.upper()}{': ' + event.reason if event.reason else ''}")
            case _:
                pass

    def _prompt(self, event: Prompted | PromptProgress | PromptEnded) -> None:
        """One line a prompt, a few on how it stands, and one if it ended other than by being taken."""
        open_prompt = self._outputs.prompt
        self._outputs = fold(self._outputs, event)
        match event:
            case Prompted():
                self._progress = []
                self._line(prompt_words(event, self._outputs))
            case PromptProgress():
                # Only other words are worth a line: the figures in them change with every look.
                words = FIGURES.sub("", event.words)
                if words and words not in self._progress[-1:] and len(self._progress) < MOST_PROGRESS:
                    self._progress.append(words)
                    self._line(f"  {event.words}")
            case PromptEnded() if event.how != "taken":
                self._line(f"  {ended_words(open_prompt, event)}")
            case _:
                pass

    def _power(self, event: PowerChanged) -> None:
        self._outputs = fold(self._outputs, event)
        now = (event.state, event.volts, event.amps)
        if event.state in SHOWN_STATES and self._set.get(event.rail) != now:
            words = SHOWN_STATES[event.state]
            self._line(f"{event.rail} {words}: {show(event.volts, 'V')}, at most {show(event.amps, 'A')}")
            self._lit.add(event.rail)
        elif event.state in ("off", "checked", "settled", "reversed", "stopped") and event.rail in self._lit:
            self._line(f"{event.rail} off, proved")
            self._lit.discard(event.rail)
        self._set[event.rail] = now

    def _line(self, text: str) -> None:
        self._stream.write(f"{self._prefix}{text}\n")
        self._stream.flush()
