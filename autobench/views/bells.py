"""What is heard while a person holds the probes: strokes of the terminal's bell, and when each is due.

One stroke: the touch was taken, lift the tip. Two: what was read there is outside its limits. Three: the reading is
void, look at the probe and not at the board. Five: an alarm, look up. A round in which nobody is prompted has one
stroke at an alarm; every round has one at its end. Writes nothing and decides nothing about the run.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable

from autobench.events import (
    Event,
    Notice,
    Prompted,
    PromptEnded,
    ReadingTaken,
    RunEnded,
    StepStarted,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

TAKEN, OUTSIDE, VOID, ALARM, END = 1, 2, 3, 5, 1  # strokes
ANSWERED = ("taken", "answered", "refused")  # refused: taken by a key, with nothing that shows a contact
SPACING = 0.15  # s between the strokes of one group: most terminals make closer ones into a single sound
PAUSE = 0.45  # s before another group, so that one and two are not heard as three


class Bells:
    """Takes the events of a run in and says when a stroke is due; `wall` gives seconds.

    Events come from the run, strokes are taken by whoever draws: both may be threads of their own. Nothing is ever
    due where `wanted` is false.
    """

    def __init__(self, wall: Callable[[], float], wanted: bool) -> None:
        self._wall = wall
        self._wanted = wanted
        self._lock = threading.Lock()
        self._gaps: deque[float] = deque()  # of the strokes to come, each with the least time since the one before, s
        self._rung_at = -PAUSE
        self._alarms = 0  # strokes of an alarm among those to come; they are the first
        self._by_hand = False  # somebody was prompted in this run
        self._prompt: Prompted | None = None  # the last one
        self._open = False  # it still waits
        self._listening = False  # it was answered, and its step goes on
        self._said: set[Verdict] = set()  # by strokes, since the last prompt
        self._early: list[Reading] = []  # read before the prompt was said to be over

    def hear(self, event: Event) -> None:
        """Take one event in; only what is to be heard has a stroke."""
        if not self._wanted:
            return
        with self._lock:
            match event:
                case Notice(urgent=True):
                    self._alarm()
                case RunEnded():
                    # Strokes left over from probing say nothing any more; an alarm goes on and needs no end beside it.
                    if not self._alarms:
                        self._gaps.clear()
                        self._strike(END)
                case Prompted():
                    self._by_hand, self._prompt, self._open, self._listening = True, event, True, False
                    self._said, self._early = set(), []
                case PromptEnded():
                    self._ended(event.how)
                case StepStarted() if self._prompt is not None and event.step != self._prompt.step:
                    self._listening = False
                case ReadingTaken() if self._open:
                    self._early.append(event.reading)
                case ReadingTaken() if self._listening:
                    self._outcome(event.reading)
                case _:
                    pass

    def due(self) -> bool:
        """Whether one stroke is to be rung now; it then counts as rung."""
        with self._lock:
            if not self._gaps or self._wall() - self._rung_at < self._gaps[0]:
                return False
            self._gaps.popleft()
            self._alarms = max(self._alarms - 1, 0)
            self._rung_at = self._wall()
            return True

    def wait(self) -> float | None:
        """Seconds until the next stroke is due, by the wall clock; `None` while there is none to come."""
        with self._lock:
            if not self._gaps:
                return None
            return max(self._rung_at + self._gaps[0] - self._wall(), 0.0)

    def _ended(self, how: str) -> None:
        """A prompt is over: one stroke if it was taken, then what was read if anything was read already."""
        self._open, self._listening = False, how in ANSWERED
        if how == "taken" and not self._alarms:
            self._gaps.clear()  # strokes of a touch before this one would be taken for its own
            self._strike(TAKEN)
        early, self._early = self._early, []
        for reading in early if self._listening else ():
            self._outcome(reading)

    def _outcome(self, reading: Reading) -> None:
        """What was read where a person answered: each of the two kinds is said once a prompt.

        A conditional reading says nothing of the board; that one is void says something of the probe all the same.
        """
        verdict = reading.verdict
        strokes = {Verdict.OUTSIDE: 0 if reading.conditional else OUTSIDE, Verdict.VOID: VOID}.get(verdict)
        if strokes and verdict not in self._said and not self._alarms:
            self._said.add(verdict)
            self._strike(strokes)

    def _alarm(self) -> None:
        """An alarm goes before all else; another one meanwhile begins anew."""
        self._gaps.clear()
        self._alarms = ALARM if self._by_hand else 1
        self._strike(self._alarms)

    def _strike(self, strokes: int) -> None:
        """A group of strokes after those that are still to come."""
        self._gaps.append(PAUSE)
        self._gaps.extend([SPACING] * (strokes - 1))
