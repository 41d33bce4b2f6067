"""An oscilloscope by its role: one acquisition armed, waited for and read out as traces of every channel.

It measures nothing: no autoscale, no measurements of the instrument's own, everything is computed from the samples
elsewhere. A record that is not of this very acquisition is never handed out as one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from autobench.documents.driver_samples import Samples
from autobench.errors import BenchError, InstrumentReportedError, NoReplyError
from autobench.instruments.dialect import Dialect
from autobench.instruments.scope_record import no_trace, read_record, timing_trouble
from autobench.instruments.scope_settings import Settings
from autobench.instruments.scope_setup import (
    Capture,
    ScopeInput,
    Setup,
    Trigger,
    time_component,
    volts_components,
)
from autobench.judgement.uncertainty import Component
from autobench.quantity import show

__all__ = ["Capture", "Scope", "ScopeInput", "Setup", "Trigger"]

STATE_WITHIN = 2.0  # seconds until a scope told to run or stop must say that it does
STATE_EVERY = 0.01
FIRST_POLL = 0.01  # seconds between polls of an acquisition: short at first, longer when it takes its time
LONGEST_POLL = 0.05
BY_ITSELF = 0.2  # seconds after which a scope that should trigger by itself is helped
GRACE = 1.0  # seconds beyond patience and record until an acquisition is given up


@dataclass
class Armed:
    """The acquisition under way: since when, whether it was seen to complete, and after how long it was forced."""

    setup: Setup
    since: float
    completed: bool = False
    forced_after: float | None = None

    @property
    def as_asked(self) -> bool:
        """Whether it starts from its trigger, or by itself where none was wanted."""
        return self.setup.trigger is None or self.forced_after is None


class Scope:
    """One oscilloscope; `probe` is what the probes on all its channels divide by.

    Every method may raise the link's errors. After any error it takes nothing for known: the next capture sends every
    setting again.
    """

    def __init__(self, dialect: Dialect, probe: float = 10.0) -> None:
        if dialect.driver.samples is None:
            raise BenchError(f"{dialect.name}: the driver '{dialect.driver.driver}' is not one of an oscilloscope")
        self.dialect = dialect
        self.name = dialect.name
        self.samples: Samples = dialect.driver.samples
        self.probe = probe
        self.settings = Settings(dialect, self.samples, probe)
        self.armed: Armed | None = None
        self.stopped = False  # whether it has said that it stands still since it last ran

    @property
    def channels(self) -> tuple[int, ...]:
        """The numbers of its channels."""
        return self.samples.channels

    def identify(self) -> str:
        """What the instrument says it is."""
        return self.dialect.identify()

    def prepare(self) -> None:
        """Once a session: errors cleared, stopped, and set to what never changes; the rest goes with each capture."""
        with self.careful():
            self.settings.forget()
            if self.dialect.can("remote"):
                self.dialect.perform("remote")
            self.dialect.clear()
            self.halt()
            if self.dialect.can("prepare"):
                self.dialect.perform("prepare", check=True)

    def local(self) -> None:
        """Give the front panel back, where the dialect has a command for it."""
        if self.dialect.can("local"):
            self.dialect.perform("local")

    def arm(self, setup: Setup) -> None:
        """Set everything, read back what matters and start a single acquisition.

        The scope is seen standing and then running before it is armed, so "stopped" after this means that this
        acquisition is complete, however late its state is told. Raises `BenchError` for a setup beyond the instrument,
        before anything is sent.
        """
        with self.careful():
            self.settings.check(setup)
            self.armed = None
            try:
                self.start(setup)
            except InstrumentReportedError:
                # It refused one of many lines, and which does not always show: everything again, line by line.
                self.settings.forget()
                self.stopped = False
                with self.settings.named():
                    self.start(setup)
            self.armed = Armed(setup, self.dialect.clock.now())

    def start(self, setup: Setup) -> None:
        """Set everything and start a single acquisition, with one look at the error queue at the end."""
        if not self.stopped:
            self.halt()
        self.stopped = False
        self.dialect.perform("run", check=self.settings.one_by_one)
        self.until_done(False)
        self.settings.apply(setup)
        self.dialect.perform("single", check=True)

    def ready(self) -> bool:
        """Whether the acquisition has completed, by the instrument's own state."""
        armed = self.under_way()
        if not armed.completed:
            with self.careful():
                armed.completed = self.state("done?")
        return armed.completed

    def force(self) -> None:
        """Trigger now; the capture then says that its trigger was not found."""
        armed = self.under_way()
        with self.careful():
            try:
                self.dialect.perform("force", check=True)
            except InstrumentReportedError:
                if not self.dialect.can("waiting?") or self.state("waiting?"):
                    raise
                return  # it triggered by itself in the moment before: nothing was forced
        armed.forced_after = self.dialect.clock.now() - armed.since

    def fetch(self) -> Capture:
        """Stop and read the record of every channel.

        An acquisition that did not complete since it was armed gives traces without samples, and the reason.
        """
        armed = self.under_way()
        self.ready()
        with self.careful():
            self.armed = None
            self.dialect.perform("stop", check=not armed.completed)
            if not armed.completed:
                self.until_done(True)
            self.stopped = True
            if not armed.completed:
                return self.nothing(armed)
            traces = read_record(self.settings, armed.setup)
        interval = next(iter(traces.values())).interval
        return Capture(traces, armed.as_asked, interval, self.reason(armed, interval))

    def capture(self, setup: Setup, wait: Callable[[float], None], patience: float) -> Capture:
        """Arm, wait for the acquisition and read it out; see `acquire`."""
        self.acquire(setup, wait, patience)
        return self.fetch()

    def acquire(self, setup: Setup, wait: Callable[[float], None], patience: float) -> None:
        """Arm and wait for the acquisition, which `fetch` reads out: what the probes see by then is of no matter to it.

        `wait` lets time pass (s) and may raise to break off. After `patience` seconds without its trigger it is forced,
        and the capture says so.
        """
        self.arm(setup)
        armed = self.under_way()
        allowed = patience if setup.trigger is not None else min(patience, BY_ITSELF)
        limit = allowed + 2.0 * self.settings.memory / self.settings.rate + GRACE
        pause = FIRST_POLL
        while not self.ready():
            passed = self.dialect.clock.now() - armed.since
            if passed >= limit:
                break
            if passed >= allowed and armed.forced_after is None and self.can_force():
                self.force()
                continue
            wait(pause)
            pause = min(2.0 * pause, LONGEST_POLL)

    def volts_components(
        self, entry: ScopeInput, reading: float = 0.0, *, difference: bool = False
    ) -> tuple[Component, ...]:
        """Type B components, in V, of a level read on the scale `entry` is captured with.

        `difference` is for an amplitude, the difference of two levels of one trace, in which the offset drops out.
        """
        scale = self.settings.scale_for(entry)
        return volts_components(self.samples, scale, self.probe, reading, difference)

    def time_components(self, value: float = 1.0) -> Component:
        """Type B component of a time or frequency of `value`, in its unit; with 1 it is relative."""
        return time_component(self.samples, value)

    def can_force(self) -> bool:
        """Whether forcing would help: it waits for a trigger, and does not just fill its memory."""
        with self.careful():
            return self.dialect.can("force") and self.state("waiting?")

    def halt(self) -> None:
        """Stop, and wait until it says so."""
        self.dialect.perform("stop", check=True)
        self.until_done(True)
        self.stopped = True

    def until_done(self, done: bool) -> None:
        """Wait until the state is told as stopped (or as not stopped); raises `NoReplyError` if it never is."""
        clock = self.dialect.clock
        end = clock.now() + STATE_WITHIN
        while self.state("done?") is not done:
            if clock.now() >= end:
                told = "to stop, but does not say that it has" if done else "to run, but still says that it stands"
                raise NoReplyError(self.name, f"was told {told} after {show(STATE_WITHIN, 's', 2)}")
            clock.sleep(STATE_EVERY)

    def state(self, question: str) -> bool:
        """The answer to a question about its state."""
        answer = self.dialect.perform(question)
        return answer is not None and answer.truth

    def under_way(self) -> Armed:
        """The acquisition that was armed; raises `BenchError` where there is none."""
        if self.armed is None:
            raise BenchError(f"{self.name}: no acquisition is armed")
        return self.armed

    def reason(self, armed: Armed, interval: float) -> str | None:
        """What was wrong with a capture, in words; None where it is as it was asked for."""
        found = [
            self.settings.trouble(armed.setup.channels),
            timing_trouble(self.settings, interval, armed.setup.peak),
        ]
        if not armed.as_asked:
            after = show(armed.forced_after or 0.0, "s", 2)
            found.insert(0, f"no trigger ({armed.setup.trigger}) within {after}; it was forced")
        return "; ".join(words for words in found if words) or None

    def nothing(self, armed: Armed) -> Capture:
        """The capture of an acquisition that has no record, with the reason in words."""
        interval = 1.0 / self.settings.rate
        traces = {channel: no_trace(interval) for channel in armed.setup.channels}
        passed = show(self.dialect.clock.now() - armed.since, "s", 2)
        cause = f"the acquisition did not complete within {passed}"
        if armed.setup.trigger is not None and armed.forced_after is None:
            cause = f"no trigger ({armed.setup.trigger}) within {passed}"
        reason = f"{cause}; what the scope still holds is of an earlier acquisition and was not read"
        return Capture(traces, False, interval, reason)

    @contextmanager
    def careful(self) -> Iterator[None]:
        """After any error inside nothing is known of how the scope stands."""
        try:
            yield
        except BaseException:
            self.settings.forget()
            self.armed, self.stopped = None, False
            raise
