"""A counter by its role: the rate of one input at a level, over a gate, with the uncertainty its driver file states.

It counts what crosses the level and knows no waveform: whether that is what was meant is for whoever can see it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from autobench.documents.driver_counts import Counts
from autobench.errors import BenchError, LinkLostError, NoReplyError
from autobench.instruments.dialect import Dialect
from autobench.judgement.uncertainty import Budget, Component
from autobench.quantity import Estimate, show

READ_BACK = 0.01  # relative; a setting that stands further off was not taken
LEVEL_BACK = 0.02  # V at the connector; levels are set in steps
# s of a reading beyond its gate: arming, and the bus. Nobody looks at a live board meanwhile, so that an input on which
# nothing happens is not waited for any longer.
OVERHEAD = 0.9


@dataclass(frozen=True)
class CounterReading:
    """What one reading gave: an estimate in Hz with its parts, or the reason why there is none."""

    estimate: Estimate | None
    components: tuple[Component, ...] = ()
    reason: str | None = None


class Counter:
    """One counter; `probe` is what the probes on all its inputs divide by.

    Every method may raise the link's errors.
    """

    def __init__(self, dialect: Dialect, probe: float = 1.0) -> None:
        if dialect.driver.counts is None:
            raise BenchError(f"{dialect.name}: the driver '{dialect.driver.driver}' is not one of a counter")
        self.dialect = dialect
        self.name = dialect.name
        self.counts: Counts = dialect.driver.counts
        self.probe = probe

    def identify(self) -> str:
        """What the instrument says it is."""
        return self.dialect.identify()

    def prepare(self) -> None:
        """Once a session: errors cleared, and set to what never changes; the rest goes with each reading."""
        if self.dialect.can("remote"):
            self.dialect.perform("remote")
        self.dialect.clear()
        if self.dialect.can("prepare"):
            self.dialect.perform("prepare", check=True)

    def local(self) -> None:
        """Give the front panel back, where the dialect has a command for it."""
        if self.dialect.can("local"):
            self.dialect.perform("local")

    def rate(self, channel: int, level: float, gate: float) -> CounterReading:
        """Mean rate in Hz of what rises through `level` volts at the tip, over `gate` seconds.

        Everything is set anew each time, the rate first, since selecting it resets the input in some dialects. An input
        on which nothing crosses the level gives no estimate, whichever way the dialect says so: by a number that is
        none, or by never answering. Raises `BenchError` for a gate beyond the instrument, or a setting it did not take.
        """
        self.dialect.perform("rate", channel=channel, check=True)
        self.dialect.perform("couple dc", channel=channel, check=True)
        if self.dialect.can("fix input"):
            self.dialect.perform("fix input", channel=channel, check=True)
        self.set_level(channel, level)
        self.set_gate(gate)
        self.dialect.clock.sleep(self.counts.settle.value)
        return self.read(gate)

    def set_level(self, channel: int, level: float) -> None:
        """The level at the tip: told as such where the instrument knows the probe, else divided by it."""
        told = level / self.probe
        if self.dialect.can("probe"):
            self.dialect.perform("probe", channel=channel, check=True, factor=self.probe)
            told = level
        self.dialect.perform("set level", channel=channel, check=True, value=told)
        if self.dialect.can("set level?"):
            self.agree("set level?", channel, self.dialect.sent("set level", told), LEVEL_BACK * self.told_factor)

    @property
    def told_factor(self) -> float:
        """Volts as told of one volt at the connector."""
        return self.probe if self.dialect.can("probe") else 1.0

    def set_gate(self, gate: float) -> None:
        """For how long it counts."""
        if not self.counts.gates.holds(gate):
            raise BenchError(f"{self.name}: a gate of {show(gate, 's')} is not in {self.counts.gates}")
        self.dialect.perform("set gate", check=True, value=gate)
        if self.dialect.can("set gate?"):
            self.agree("set gate?", None, gate, READ_BACK * gate)

    def agree(self, question: str, channel: int | None, sent: float, tolerance: float) -> None:
        """Raise `BenchError` where a setting does not stand as it was sent: what is counted then is something else."""
        answer = self.dialect.perform(question, channel=channel)
        stands = answer.number if answer is not None else math.nan
        if not abs(stands - sent) <= tolerance:
            unit = self.dialect.driver.role[question].unit
            what = question.removeprefix("set ").removesuffix("?")
            raise BenchError(
                f"{self.name}: the {what} stays at {show(stands, unit)} although {show(sent, unit)} was sent"
            )

    def read(self, gate: float) -> CounterReading:
        """One reading of an input that is set up."""
        try:
            answer = self.dialect.perform("read?", within=gate + OVERHEAD)
        except LinkLostError:
            raise
        except NoReplyError:
            self.dialect.link.recover()  # raises where it is the instrument that is silent, not its input
            return CounterReading(None, reason=f"{self.name} waits for ever: nothing crosses its level")
        value = answer.number if answer is not None else math.nan
        if not math.isfinite(value) or value <= 0.0:
            return CounterReading(None, reason=f"{self.name} gives no number: nothing crosses its level")
        parts = self.components(value, gate)
        how = f"counted by {self.name} for {show(gate, 's')}"
        return CounterReading(Estimate(value, "Hz", Budget(parts).standard, how=how), parts)

    def components(self, value: float, gate: float) -> tuple[Component, ...]:
        """Type B parts of a rate of `value` Hz counted for `gate` seconds.

        The limit of the time base is the half-width of a rectangle (GUM 4.3.7). The time of whole periods within a gate
        is known to the resolution at both its ends; a plain count to one event, which is `1 / gate` in Hz.
        """
        trust = self.counts.trust
        base = Component("time base", trust.time_base, "rectangular", sensitivity=value)
        if trust.resolution is None:
            return base, Component("one count", 1.0 / gate, "rectangular")
        return base, Component(
            "resolution of the gate", trust.resolution.value / gate, "rectangular", sensitivity=value
        )
