"""The person at the bench: prompts, keys and typed words. It judges nothing and measures nothing.

Every wait for a person goes on in slices, and after each the watch looks at the live outputs: a prompt never leaves a
live board unwatched. The off key ends the run, whatever is being asked.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, Protocol

from autobench.clock import Clock
from autobench.errors import StoppedError
from autobench.events import Event, Prompted, PromptEnded, PromptProgress
from autobench.quantity import show

SLICE = 0.1  # s between two looks at the keys
POWER_WITHIN = 10.0  # s in which somebody must press a key before a board gets its first power (common practice)
LONGEST_TYPED = 200
OFF_WORDS = "switched off with the off key at the bench"
NO_REASON = "no reason given"

TAKE, AGAIN, BACK, SKIP, OFF = "enter", "again", "back", "skip", "off"
OFF_KEY = ("o", "everything off")
# What each key does while a tip is asked for; one key a word, so that a foot switch can send it.
TOUCH_KEYS = (("Enter", "take it"), ("r", "again"), ("b", "back"), ("s", "skip"), OFF_KEY)
CLIP_KEYS = (("Enter", "it is there"), ("b", "back"), ("s", "skip"), OFF_KEY)
DONE_KEYS = (("Enter", "done"), ("s", "skip"), OFF_KEY)
POWER_KEYS = (("Enter", "power on"), OFF_KEY)
QUESTION_KEYS = (("y", "yes"), ("n", "no"), OFF_KEY)
TYPING_KEYS = (("Enter", "done"), ("Esc", "everything off"))


class Keys(Protocol):
    """Where keys come from: `enter`, `again`, `back`, `skip`, `off`, `yes`, `no`, `erase`; single letters while
    `typing`."""

    typing: bool
    pace: float  # by how much real waiting is shortened, where the bench's clock is a simulated one

    def get(self, seconds: float) -> str | None:
        """The next key, waited for at most `seconds` of real time."""

    def off(self) -> bool:
        """Whether the off key has been pressed, without waiting and without taking other keys away."""

    def forget(self) -> None:
        """Drop keys pressed so far, save the off key."""


class BackAskedError(Exception):
    """The person wants to go back to the point before."""


class SkipAskedError(Exception):
    """The person wants to leave this out; the argument is the reason."""


class Person:
    """Somebody at the bench with a keyboard or a foot switch. `tick` is called after every slice of waiting."""

    def __init__(
        self,
        keys: Keys,
        clock: Clock,
        emit: Callable[[Event], None],
        check: Callable[[], None],
    ) -> None:
        self._keys = keys
        self._clock = clock
        self._emit = emit
        self._check = check
        self.tick: Callable[[], None] = lambda: None
        self.step = ""
        self.prompts = 0

    def now(self) -> float:
        """The run's clock, s."""
        return self._clock.now()

    def prompt(self, kind: str, words: str, keys: tuple[tuple[str, str], ...], **more: Any) -> None:
        """Ask for something; what was pressed before the question was put does not answer it."""
        self._keys.forget()
        self.prompts += 1
        self._emit(Prompted(self._clock.now(), kind, self.step, words, keys, **more))

    def progress(self, words: str, steady: float = 0.0, typed: str | None = None) -> None:
        """Say how the prompt stands."""
        self._emit(PromptProgress(self._clock.now(), words, steady, typed))

    def end(self, how: str, words: str = "") -> None:
        """The prompt is over."""
        self._emit(PromptEnded(self._clock.now(), how, words))

    def pause(self, seconds: float = SLICE) -> str | None:
        """Let a slice pass under the watch; the key that was pressed, if any. Raises `StoppedError` for the off key."""
        self._check()
        before = self._clock.now()
        key = self._keys.get(seconds)
        left = seconds - (self._clock.now() - before)
        if key is None and left > 0:
            self._clock.sleep(left)  # a simulated clock does not move while a key is waited for
        if key == OFF:
            self.end("off")
            raise StoppedError(OFF_WORDS)
        self._check()
        self.tick()
        return key

    def bide(self, seconds: float) -> str | None:
        """Let a slice pass while something is made safe: nothing breaks in here, and no key ends it."""
        before = self._clock.now()
        key = self._keys.get(seconds)
        left = seconds - (self._clock.now() - before)
        if left > 0:
            self._clock.sleep(left)
        return key

    def turned(self, key: str | None) -> None:
        """Act on the keys that lead away from a prompt; raises `BackAskedError` or `SkipAskedError` for them."""
        if key == BACK:
            self.end("back")
            raise BackAskedError
        if key == SKIP:
            reason = self.typed("reason", "Why is it left out? Type a word or two.") or NO_REASON
            self.end("skipped", reason)
            raise SkipAskedError(reason)

    def done(self, kind: str, words: str, keys: tuple[tuple[str, str], ...] = DONE_KEYS, **more: Any) -> None:
        """Ask for something that only the person can see is done."""
        self.prompt(kind, words, keys, **more)
        while (key := self.pause()) != TAKE:
            self.turned(key)
        self.end("taken")

    def power_key(self, words: str) -> bool:
        """Whether somebody pressed a key within ten seconds, so that power never comes on with nobody there."""
        self.prompt("power", words, POWER_KEYS)
        pace, self._keys.pace = self._keys.pace, 1.0  # ten seconds are ten seconds, on a simulated bench too
        try:
            return self._pressed_in_time()
        finally:
            self._keys.pace = pace

    def _pressed_in_time(self) -> bool:
        """Whether the key for power comes before the time is over."""
        until = self._clock.now() + POWER_WITHIN
        while (left := until - self._clock.now()) > 0:
            if self.pause() == TAKE:
                self.end("taken")
                return True
            self.progress(f"within {max(left, 0.0):.0f} s")
        self.end("refused", "nobody pressed a key in time")
        return False

    def question(self, words: str) -> bool:
        """A question to be answered with yes or no."""
        self.prompt("question", words, QUESTION_KEYS)
        while (key := self.pause()) not in ("yes", "no"):
            pass
        self.end("answered", str(key))
        return key == "yes"

    def number(self, words: str, unit: str, **more: Any) -> float | None:
        """A number read off a display and typed, in `unit`; None if nothing was typed."""
        while True:
            text = self.typed("number", f"{words} Type the number in {unit}; nothing if it cannot be read.", **more)
            plain = text.replace(",", ".").removesuffix(unit).strip()
            if not plain:
                self.end("answered", "not read")
                return None
            if re.fullmatch(r"[0-9]{1,6}(\.[0-9]{0,6})?|\.[0-9]{1,6}", plain):
                self.end("answered", show(float(plain), unit))
                return float(plain)
            self.end("again", f"'{text}' is not a number in {unit}")

    def typed(self, kind: str, words: str, **more: Any) -> str:
        """A line of text, shown while it is typed."""
        self.prompt(kind, words, TYPING_KEYS, **more)
        text, self._keys.typing = "", True
        try:
            while (key := self.pause()) != TAKE:
                if key is None:
                    continue
                if key == "erase":
                    text = text[:-1]
                elif len(key) == 1 and key.isprintable():
                    text = (text + key)[:LONGEST_TYPED]
                self.progress("", typed=text)
        finally:
            self._keys.typing = False
        return text.strip()
