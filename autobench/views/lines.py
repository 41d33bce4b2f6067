"""Plain lines while a run goes on: for a pipe, a log or a simple terminal. Shows events, decides nothing."""

from __future__ import annotations

from typing import TextIO

from autobench.diagnosis.result import Diagnosis
from autobench.events import Diagnosed, Event, Notice, PowerChanged, ReadingTaken, RunEnded, RunStarted, StepStarted
from autobench.judgement.reading import Reading
from autobench.quantity import show

MOST_SHOWN = 3
# Quantities that the step's own name says already.
PLAIN_QUANTITIES = ("voltage", "current", "resistance", "ripple", "rate", "answer")
SHOWN_STATES = {"probing": "on for the polarity probe", "on": "ON", "tripped": "TRIPPED", "alarm": "NOT PROVED OFF"}


class Lines:
    """Writes one line for what a person should see; a marker in front of every line says when nothing is real."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._prefix = ""
        self._stage = ""
        self._said: str | None = None
        self._set: dict[str, tuple[str, float, float]] = {}
        self._lit: set[str] = set()  # rails that were shown as on and not yet as off

    def show(self, event: Event) -> None:
        """Write the lines of one event; most events have none."""
        match event:
            case RunStarted():
                self._prefix = "SIMULATED  " if event.simulated else ""
                chosen = ", ".join(f"{name} {choice}" for name, choice in event.options.items())
                serial = f", serial {event.serial}" if event.serial else ""
                self._line(
                    f"{event.board}{serial}{' with ' + chosen if chosen else ''}: {event.sequence} on {event.bench}"
                )
            case StepStarted() if event.stage != self._stage:
                self._stage = event.stage
                self._line(f"– {event.stage} –")
            case ReadingTaken():
                for line in reading_lines(event.reading, self._said):
                    self._line(line)
                self._said = event.reading.reason
            case PowerChanged():
                self._power(event)
            case Notice():
                self._line(f"{'ALARM: ' if event.urgent else ''}{event.words}")
            case Diagnosed():
                for line in diagnosis_lines(event.diagnosis):
                    self._line(line)
            case RunEnded():
                self._line(f"{event.verdict.upper()}{': ' + event.reason if event.reason else ''}")
            case _:
                pass

    def _power(self, event: PowerChanged) -> None:
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


def diagnosis_lines(diagnosis: Diagnosis) -> list[str]:
    """At most three suspects with why and why not, then the next check, in words a technician says aloud."""
    if not diagnosis.suspects:
        return []
    lines = ["– who may be to blame –"]
    for number, suspect in enumerate(diagnosis.suspects[:MOST_SHOWN], 1):
        lines.append(f"  {number}. {suspect.place}: {suspect.fault}, {100 * suspect.probability:.0f} %")
        lines += [f"      for: {reason}" for reason in suspect.for_[:MOST_SHOWN]]
        lines += [f"      against: {reason}" for reason in suspect.against[:MOST_SHOWN]]
    if not diagnosis.told_apart and diagnosis.group:
        lines.append(f"  not told apart yet: {', '.join(diagnosis.group)}")
    if diagnosis.next_check is not None:
        check = diagnosis.next_check
        lines.append(f"  next check, about {check.minutes:g} min: {check.what}")
        lines.append(f"      {check.why}")
    return lines


def reading_lines(reading: Reading, said: str | None = None) -> list[str]:
    """A reading as one line, and its reason as another unless that was `said` just before."""
    point = f" [{reading.point}]" if reading.point else ""
    note = ", conditional" if reading.conditional else ""
    shown = "" if reading.value is None and reading.state is None else f"{reading.in_words()} – "
    what = "" if reading.quantity in PLAIN_QUANTITIES else f" {reading.quantity}"
    lines = [f"  {reading.step}{what}{point}: {shown}{reading.verdict}{note}"]
    if reading.reason and reading.reason != said:
        lines.append(f"      {reading.reason}")
    return lines
