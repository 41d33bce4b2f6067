"""A simulated oscilloscope that runs: armed, triggered, stopped, and what is in its memory at each moment.

What stands under the command set of `scope_preamble_data`. It reads no command parameters and must not know what is
connected.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import ClassVar

from autobench.clock import Clock
from autobench.protocols.scpi import ScpiError
from simulated_instruments.devices.command_tree import Answer
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.scope_preamble_data_acquisition import Sweep
from simulated_instruments.devices.scope_preamble_data_converter import Acquisition, Converter
from simulated_instruments.devices.scope_preamble_data_measure import automatic_setup
from simulated_instruments.devices.scope_preamble_data_setup import CHANNELS, Setup
from simulated_instruments.devices.scope_preamble_data_trigger import EdgeTrigger
from simulated_instruments.devices.terminals import ScopeTerminals

STATE_LAG = 0.003  # s that the trigger state is behind, and so shortly after arming it still says what was before
AUTOMATIC_SETUP_TIME = 4.0  # s


class RunningScope(Device):
    """`held_coupling`, `held_time_scale` (s a division): switches for a bench fault; the front panel holds a setting,
    whatever is sent, and the oscilloscope answers truly how it stands. `trigger.never` and `converter.dividers` are
    further ones: no edge is seen, and what the probe switch of a channel really divides by.
    """

    delivered: ClassVar[Setup] = Setup()

    def __init__(self, name: str, clock: Clock, terminals: ScopeTerminals, seed: int = 0) -> None:
        super().__init__(name, clock, seed)
        self.held_coupling: str | None = None
        self.held_time_scale: float | None = None
        self.terminals = terminals
        self.converter = Converter(terminals, seed, name)
        self.trigger = EdgeTrigger(self.converter)
        self.switched_on = clock.now()
        self.busy_until = -math.inf
        self.reset()

    def reset(self) -> None:
        """As delivered: channel 1 alone, probe factor 1, running freely, nothing in the memory."""
        self.setup = self.held(self.delivered)
        self.single = False  # what the sweep is set to
        self.acquired: Acquisition | None = None
        self.earlier: Sweep | None = None  # the one before the present one, for the state that lags
        self.sweep = self._armed(single=False)

    def _execute(self, message: str) -> None:
        self.free_at = max(self.free_at, self.busy_until)  # nothing is answered during an automatic set-up
        super()._execute(message)

    def held(self, setup: Setup) -> Setup:
        """A set-up with what the front panel holds."""
        if self.held_coupling is not None:
            for channel in CHANNELS:
                setup = setup.with_input(channel, replace(setup.input(channel), coupling=self.held_coupling))
        return setup if self.held_time_scale is None else setup.with_time_scale(self.held_time_scale)

    def _armed(self, single: bool) -> Sweep:
        """A sweep from now on with the present set-up."""
        displayed = self.setup.displayed

        def keys() -> dict[int, str]:
            return {channel: self.terminals.key(channel) for channel in displayed}

        return Sweep(self.setup, self.clock.now(), single, self.trigger, keys)

    def arm(self, single: bool) -> Answer:
        """What was acquired so far stays in the memory until the next acquisition is complete."""
        self.single = single
        self.latest()
        self.sweep.ended = min(self.sweep.ended, self.clock.now())
        self.earlier, self.sweep = self.sweep, self._armed(single)
        return None

    def latest(self) -> Acquisition | None:
        """What is in the memory now."""
        self.acquired = self.sweep.completed(self.clock.now()) or self.acquired
        return self.acquired

    @property
    def running(self) -> bool:
        """Whether it is still to acquire something."""
        now = self.clock.now()
        return now < self.sweep.ended and not (self.sweep.single and self.sweep.completed(now) is not None)

    def change(self, setup: Setup) -> Answer:
        """A new set-up; what is running starts anew with it."""
        setup = self.held(setup)
        if setup != self.setup:
            running = self.running
            self.setup = setup
            if running:
                self.arm(self.sweep.single)
        return None

    def run(self) -> Answer:
        return None if self.running and not self.sweep.single else self.arm(single=False)

    def stop(self) -> Answer:
        self.latest()
        self.sweep.ended = min(self.sweep.ended, self.clock.now())
        return None

    def force(self) -> Answer:
        if not self.running:
            raise ScpiError(-211)
        self.sweep.force(self.clock.now())
        return None

    def state(self) -> Answer:
        time = self.clock.now() - STATE_LAG
        if time >= self.sweep.started or self.earlier is None:
            return self.sweep.state(max(time, self.sweep.started))
        return self.earlier.state(time)

    def choose_sweep(self, chosen: str) -> Answer:
        """`SING` arms at once; `AUTO` or `NORM` changes what runs, and starts nothing."""
        if chosen == "SING":
            return self.arm(single=True)
        running, setup = self.running, replace(self.setup, sweep=chosen)
        again = running and (self.sweep.single or setup != self.setup)
        self.setup, self.single = setup, False
        return self.arm(single=False) if again else None

    def set_up(self) -> Answer:
        """`AUToscale`: everything is changed, and nothing is answered while it looks."""
        now = self.clock.now()
        self.setup = self.held(automatic_setup(self.setup, self.converter, self.switched_on, now))
        self.busy_until = self.operations_end = now + AUTOMATIC_SETUP_TIME
        return self.arm(single=False)
