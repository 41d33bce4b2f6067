"""How a scope stands, and bringing it to where a capture needs it: every setting that differs is sent, and read back.

Never autoscale. It starts no acquisition. What is not known for sure is sent again; after an error nothing is known.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from typing import Any

from autobench.documents.driver_samples import Samples
from autobench.errors import BenchError, ReplyError
from autobench.instruments.dialect import Dialect
from autobench.instruments.scope_setup import ScopeInput, Setup, Trigger, depth, time_scale, vertical
from autobench.quantity import show

READ_BACK = 0.01  # relative; a setting that stands further off was not taken
OFFSET_BACK = 0.2  # divisions
NEARLY_ALL = 0.999  # of the memory; the sample rate is told with some digits only

Setting = tuple[str, int]  # what it is, and the channel it is about (0: the whole scope)


class Settings:
    """The settings of one scope. `probe` is the factor the probes of all channels divide by.

    `scales` (V per division), `middles` (V in the middle of the screen) and `rate` (Sa/s) are those of the last setup,
    as read back; `memory` is its depth in points, `screen` its length in s, `later` the time (s) of the screen's
    middle from the trigger. `notes` say in words which settings do not
    stand as they were sent: somebody or something holds them, and what is captured is not what was asked for.
    """

    def __init__(self, dialect: Dialect, samples: Samples, probe: float) -> None:
        self.dialect = dialect
        self.name = dialect.name
        self.samples = samples
        self.probe = probe
        self.scales: dict[int, float] = {}
        self.middles: dict[int, float] = {}
        self.rate = 0.0
        self.memory = 0
        self.screen = 0.0
        self.later = 0.0
        self.known: dict[Setting, Hashable] = {}
        self.notes: dict[Setting, str] = {}
        self.reopenings = dialect.link.reopenings
        self.one_by_one = False  # whether the error queue is looked at after each line, so that an error names it

    @property
    def points(self) -> int:
        """How many points a record should have: what the memory takes, or fewer where the screen is short for it."""
        on_screen = self.rate * self.screen
        return self.memory if on_screen >= NEARLY_ALL * self.memory else max(1, round(on_screen))

    def forget(self) -> None:
        """From now on nothing is known of how the scope stands."""
        self.known.clear()
        self.notes.clear()

    def drop(self, what: str, channel: int = 0) -> None:
        """From now on this one setting is not known."""
        self.known.pop((what, channel), None)
        self.notes.pop((what, channel), None)

    @contextmanager
    def named(self) -> Iterator[None]:
        """Inside, an error is looked for after each line."""
        self.one_by_one = True
        try:
            yield
        finally:
            self.one_by_one = False

    def trouble(self, channels: tuple[int, ...]) -> str | None:
        """What does not stand as it was sent, on the scope as a whole or one of `channels`; None where all does."""
        found = [note for (_, channel), note in self.notes.items() if channel in (0, *channels)]
        return "; ".join(found) or None

    def scale_for(self, entry: ScopeInput) -> float:
        """Volts per division for `entry`: as read back if its channel stands there, else as it will be set."""
        picked, _ = vertical(self.samples, entry.low, entry.high, self.probe)
        if self.known.get(("scale", entry.channel)) == picked:
            return self.scales[entry.channel]
        return picked

    def check(self, setup: Setup) -> None:
        """Raise `BenchError` where this scope cannot do what the setup asks; nothing is sent."""
        self.dialect.place_text(setup.channels)
        try:
            for entry in setup.inputs:
                self.check_input(entry, setup.trigger)
            time_scale(self.samples, setup.seconds)
            depth(self.samples, setup.points, len(setup.inputs))
        except ValueError as error:
            raise BenchError(f"{self.name}: {error}") from None
        for wanted, action in ((setup.peak, "acquire peak"), (setup.bandwidth_limit, "limit bandwidth")):
            if wanted:
                self.dialect.action(action)

    def check_input(self, entry: ScopeInput, trigger: Trigger | None) -> None:
        """Raise `ValueError` where the expected volts fit no scale, or the trigger level would not be on the screen."""
        scale, middle = vertical(self.samples, entry.low, entry.high, self.probe)
        reach = self.samples.divisions.vertical / 2.0 * scale
        if trigger is not None and trigger.channel == entry.channel and abs(trigger.level - middle) > reach:
            low, high = (show(middle + end, "V") for end in (-reach, reach))
            raise ValueError(f"the trigger ({trigger}) is not on the screen, which shows {low} .. {high}")

    def apply(self, setup: Setup) -> None:
        """Bring the scope to `setup` and let its inputs settle. What does not stand as sent is in `notes`."""
        if self.reopenings != self.dialect.link.reopenings:
            self.forget()
            self.reopenings = self.dialect.link.reopenings
        switched = self.switch(setup)
        moved = [self.set_input(entry, setup.bandwidth_limit) for entry in setup.inputs]
        if switched or any(moved):
            self.drop("level")  # an instrument keeps the level on the screen, wherever that has gone
        self.set_time_base(setup, switched)
        self.set_trigger(setup)
        if switched or any(moved):
            self.dialect.clock.sleep(self.samples.settle.value)

    def switch(self, setup: Setup) -> bool:
        """The channels in use on, all others off, which decides how fast and deep they are; whether any changed."""
        changed = False
        for channel in self.samples.channels:
            on = channel in setup.channels
            changed |= self.put("shown", on, "channel on" if on else "channel off", channel)
        return changed

    def set_input(self, entry: ScopeInput, limited: bool) -> bool:
        """One channel's probe, coupling, bandwidth, scale and offset; whether anything was sent."""
        channel = entry.channel
        factor = self.probe if self.samples.probe == "factor" else 1.0 / self.probe
        changed = self.put("probe", factor, "probe", channel, factor=factor)
        if changed:
            self.drop("scale", channel)
            self.agree("probe", "probe?", channel, factor)
        if self.put("coupling", "dc", "couple dc", channel):
            changed = True
            self.refuse_coupling(channel)
        if self.dialect.can("limit bandwidth") and (limited or self.dialect.can("full bandwidth")):
            changed |= self.put("bandwidth", limited, "limit bandwidth" if limited else "full bandwidth", channel)
        scale, middle = vertical(self.samples, entry.low, entry.high, self.probe)
        if self.put("scale", scale, "set scale", channel, value=scale):
            changed = True
            self.drop("offset", channel)  # some keep it in divisions, some in volts
            self.scales[channel] = self.agree("scale", "set scale?", channel, scale)
        return self.set_middle(channel, middle) or changed

    def set_middle(self, channel: int, middle: float) -> bool:
        """Bring `middle` volts to the middle of the screen; whether anything was sent.

        By an offset in volts where the scope has one, its position then standing at nought; else by the position.
        """
        if self.dialect.can("set offset"):
            moved = self.dialect.can("set position") and self.put("position", 0.0, "set position", channel, value=0.0)
            if moved:
                self.agree("position", "set position?", channel, 0.0, OFFSET_BACK)
            name, unit = "set offset", 1.0
        else:
            moved, name, unit = False, "set position", self.scales[channel]
        wanted = self.sign * middle / unit
        if not self.put("offset", middle, name, channel, value=wanted):
            return moved
        sent = self.dialect.sent(name, wanted)
        back = self.agree("offset", f"{name}?", channel, sent, OFFSET_BACK * self.scales[channel] / unit)
        self.middles[channel] = self.sign * back * unit
        return True

    def middle_back(self, channel: int, scale: float) -> float:
        """The volts in the middle of the screen as the scope tells them, at `scale` V per division."""
        if self.dialect.can("set offset"):
            return self.sign * self.number("set offset?", channel)
        return self.sign * self.number("set position?", channel) * scale

    @property
    def sign(self) -> float:
        """Of what is sent for more volts in the middle of the screen."""
        return -1.0 if self.samples.positive_offset == "up" else 1.0

    def set_time_base(self, setup: Setup, switched: bool) -> None:
        """Time scale, where the trigger lies, how the points are taken and how many; the sample rate read back."""
        scale = time_scale(self.samples, setup.seconds)
        points = depth(self.samples, setup.points, len(setup.inputs))
        changed = switched
        if self.put("time scale", scale, "set time scale", value=scale):
            changed = True
            self.drop("time offset")
            self.screen = self.agree("time scale", "set time scale?", 0, scale) * self.samples.divisions.horizontal
        self.later = later = self.screen * (0.5 - setup.before)
        self.put("time offset", later, "set time offset", value=later)
        if changed:
            self.drop("memory")
        if self.put("memory", points, "set memory", points=points):
            changed = True
            self.drop("last point")
        changed |= self.put("points taken", setup.peak, "acquire peak" if setup.peak else "acquire normal")
        if changed or self.known.get(("rate", 0)) is None:
            self.memory = points
            self.rate = self.number("sample rate?", 0)
            if self.rate <= 0.0:
                raise ReplyError(self.name, f"says that its sample rate is {self.rate:g} Sa/s")
            self.known["rate", 0] = self.rate

    def set_trigger(self, setup: Setup) -> None:
        """Where the record starts from; without a trigger the scope starts by itself."""
        self.drop("sweep")  # a single acquisition may have changed it
        trigger = setup.trigger
        if trigger is None:
            self.put("sweep", "auto", "sweep auto")
            return
        at = trigger.channel
        if self.put("source", at, "trigger source", at=at):
            self.drop("level")
            self.drop("slope")  # some keep one for each channel
        self.put("slope", trigger.rising, "trigger rising" if trigger.rising else "trigger falling", at=at)
        self.put("level", trigger.level, "trigger level", at=at, value=trigger.level)
        self.put("sweep", "normal", "sweep normal")

    def put(
        self,
        what: str,
        wanted: Hashable,
        action: str,
        channel: int = 0,
        *,
        at: int = 0,
        **given: Any,
    ) -> bool:
        """Perform `action` unless `what` of `channel` stands at `wanted` for sure; whether it was performed.

        `at` is the channel it names where the setting itself is the whole scope's; `given` is what its lines need.
        Whether it was refused is seen at the next look at the error queue.
        """
        if self.known.get((what, channel)) == wanted and (what, channel) not in self.notes:
            return False
        self.drop(what, channel)
        self.dialect.perform(action, channel=channel or at or None, check=self.one_by_one, **given)
        self.known[what, channel] = wanted
        return True

    def refuse_coupling(self, channel: int) -> None:
        """Note it where the channel stays coupled otherwise: its levels are lost then."""
        if self.dialect.can("couple dc?"):
            answer = self.dialect.perform("couple dc?", channel=channel)
            if answer is None or not answer.truth:
                self.notes["coupling", channel] = (
                    f"channel {channel} stays coupled otherwise than DC: its levels are lost"
                )

    def agree(self, what: str, question: str, channel: int, sent: float, tolerance: float | None = None) -> float:
        """The setting as the scope holds it; noted where it is not what was `sent`."""
        if not self.dialect.can(question):
            return sent
        stands = self.number(question, channel)
        if sent > 0.0 and stands <= 0.0 and tolerance is None:
            raise ReplyError(self.name, f"answered '{question}' with {stands:g}, which no scope can stand at")
        if abs(stands - sent) > (READ_BACK * abs(sent) if tolerance is None else tolerance):
            unit = self.dialect.driver.role[question].unit
            where = f" of channel {channel}" if channel else ""
            self.notes[what, channel] = (
                f"the {what}{where} stays at {show(stands, unit)} although {show(sent, unit)} was sent"
            )
        return stands

    def number(self, question: str, channel: int) -> float:
        """A finite number the scope answers; raises `ReplyError` for any other."""
        answer = self.dialect.perform(question, channel=channel or None)
        value = answer.number if answer else math.nan
        if not math.isfinite(value):
            raise ReplyError(self.name, f"answered '{question}' with no number")
        return value
