"""The person at a simulated bench: brings tips to points, turns knobs and pulls plugs when asked, each after a while.

A request returns at once; it is done when the clock has passed the moment it takes effect and somebody looks. What
goes wrong at a point (no contact, the wrong pin) is the bench's damage. It knows no instrument.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import TYPE_CHECKING

from autobench.errors import UsageError
from simulated_instruments.benches.touches import METER_HIGH, METER_LOW, TIPS
from simulated_instruments.benches.wiring import Hand
from simulated_instruments.board.local_heat import BY
from simulated_instruments.board.tolerance import Tolerance
from simulated_instruments.devices.terminals import OutputSetting
from simulated_instruments.spelling import known

if TYPE_CHECKING:  # the world is above its benches
    from simulated_instruments.world import World

METER = "meter"
QUICK, SLOW = 0.7, 1.5  # how far the time a request takes strays from the usual
MOVING = 0.5  # share of that time after which a tip has left where it was
SLIPS_AFTER = 0.15  # s
# Knobs are set by eye on the supply's own display (relative).
VOLTS_SPREAD, AMPS_SPREAD = 0.005, 0.03
TEMPERED = {"cool": 12.0, "warm": 25.0}  # s until one part is as cold, or as warm, as it gets (common practice)


class SimulatedPerson:
    """Hands of a bench. All methods may be called from any thread; each raises `UsageError` for a word it does not
    know. Each request takes from 0.7 to 1.5 times the bench's usual reach, by the seed and the request's number."""

    def __init__(self, world: World, hand: Hand, tolerance: Tolerance) -> None:
        self._world, self._hand, self._tolerance = world, hand, tolerance
        self._requests = 0
        self._tries: Counter[str] = Counter()
        self._held: dict[str, tuple[str, ...]] = {}
        self._done: list[tuple[float, str]] = []
        supply = world.wiring.supply
        self._knobs_free = 0.0  # s; knobs, switches and plugs are seen to in the order asked
        self._outputs = {feed.rail: feed.output for feed in supply.feeds} if supply.instrument is None else {}

    @property
    def done(self) -> tuple[tuple[float, str], ...]:
        """What was done so far, and when (s)."""
        with self._world.lock:
            self._world.now()
            return tuple(self._done)

    def worked(self, words: str) -> None:
        """Something was done to the dead board."""
        self._done.append((self._world.now(), words))

    def temper(self, how: str, part: str) -> None:
        """`cool` one part with freezer spray, or `warm` it with hot air, the board live or not."""
        known(how, list(BY), "way", "this bench")
        known(part, list(self._world.board.circuit.parts), "part", self._world.board.circuit.name)
        with self._world.lock:
            due = self._world.now() + TEMPERED[how]

            def reached(time: float) -> None:
                self._world.temper(part, how, time)
                self._done.append((time, f"{how} {part}"))

            self._world.agenda.add(due, part, reached)

    # Tips

    def touch(self, tip: str, point: str, against: str | None = None) -> None:
        """Bring `tip` to `point`: of the meter the red tip, with the black one on `against`; of a scope the probe,
        whose clip is on 0 V, or on the other end of a plug that is off the board. Asking for the same again is a new
        try."""
        self._check_tip(tip)
        wanted = [point] if against is None else [point, against]
        for each in wanted:
            known(each, self._world.touchable, "point", self._world.board.circuit.name)
        if (tip == METER) != (against is not None):
            raise UsageError(f"{tip}: the meter needs a point for each of its two tips, a scope probe one point")
        self._move(tip, wanted)

    def together(self) -> None:
        """Hold the meter's two tips against each other."""
        self._check_tip(METER)
        self._move(METER, [TIPS, TIPS])

    def lift(self, tip: str) -> None:
        """Take `tip` off whatever it touches."""
        self._check_tip(tip)
        self._move(tip, [])

    def lay_down(self) -> None:
        """Take every tip off the board: both hands are wanted."""
        for tip in self._hand.tips:
            self.lift(tip)

    def _check_tip(self, tip: str) -> None:
        known(tip, self._hand.tips, "tip", "this bench")

    def _move(self, tip: str, wanted: list[str]) -> None:
        with self._world.lock:
            start, reach = self._begin()
            leaves = start + MOVING * reach
            self._world.agenda.drop(tip, leaves)
            self._world.agenda.add(leaves, tip, lambda time: self._leave(time, tip, "lifted"))
            if wanted:
                self._world.agenda.add(start + reach, tip, lambda time: self._arrive(time, tip, wanted))

    def _begin(self) -> tuple[float, float]:
        """Now, and how long this request takes (s)."""
        self._requests += 1
        strays = self._tolerance.uniform(f"reach {self._requests}", QUICK, SLOW)
        return self._world.now(), strays * self._hand.reach

    def _arrive(self, time: float, tip: str, wanted: list[str]) -> None:
        """The tip is where it was sent, for better or worse."""
        landed = [self._landed(time, tip, point) for point in wanted]
        inputs = (METER_HIGH, METER_LOW) if tip == METER else (tip,)
        for name, point in zip(inputs, landed, strict=True):
            self._held[name] = (point,) if point else ()
        self._world.touch(dict(self._held))
        words = " against ".join(point or f"nothing at {meant}" for point, meant in zip(landed, wanted, strict=True))
        self._done.append((time, f"{tip} on {words}" if TIPS not in wanted else "tips together"))

    def _landed(self, time: float, tip: str, point: str) -> str | None:
        """The point really touched by a tip that was sent to `point`."""
        damage = self._world.damage
        self._tries[point] += 1
        if point in damage.wrong_pins and self._tries[point] == 1:
            return damage.wrong_pins[point]
        if point in damage.not_touching and self._tries[point] == 1:
            return None
        if point in damage.not_touching and self._tries[point] == 2:
            slips = f"slipped off {point}"
            self._world.agenda.add(time + SLIPS_AFTER, tip, lambda then: self._leave(then, tip, slips, point))
        return point

    def _leave(self, time: float, tip: str, words: str, point: str | None = None) -> None:
        """The inputs of `tip` touch nothing any more; where a point is given, only the input that is on it."""
        inputs = (METER_HIGH, METER_LOW) if tip == METER else (tip,)
        leaving = [name for name in inputs if self._held.get(name) and point in (None, *self._held[name])]
        if leaving:
            self._held |= dict.fromkeys(leaving, ())
            self._world.touch(dict(self._held))
            self._done.append((time, f"{tip} {words}"))

    # Knobs

    @property
    def rails(self) -> list[str]:
        """The rails whose supply is worked by its knobs."""
        return list(self._outputs)

    def set_supply(self, rail: str, volts: float, amps: float) -> None:
        """Turn the knobs of a rail's output to `volts` and to the current limit `amps`, as well as a hand can."""
        self._output(rail)
        with self._world.lock:
            due = self._begin_knob()
            turned = volts * self._knob("volts", VOLTS_SPREAD), amps * self._knob("amps", AMPS_SPREAD)
            words = f"{rail} set to {turned[0]:.3f} V and {turned[1]:.3f} A"
            self._later(due, rail, words, lambda setting: OutputSetting(setting.on, *turned))

    def switch_supply(self, rail: str, on: bool) -> None:
        """Switch a rail's output on or off."""
        self._output(rail)
        with self._world.lock:
            due = self._begin_knob()
            words = f"{rail} switched {'on' if on else 'off'}"
            self._later(due, rail, words, lambda setting: OutputSetting(on, setting.volts, setting.amps))

    def plug(self, rail: str, connected: bool) -> None:
        """Put the plug of a rail's leads into the board's inlet, or pull it; pulled, its ends can be touched as the
        points `RAIL plug +` and `RAIL plug -`."""
        self._output(rail)
        known(rail, self._world.supply.plugs, "rail", self._world.board.circuit.name)
        with self._world.lock:
            due = self._begin_knob()

            def pull(time: float) -> None:
                self._world.plug(rail, connected)
                self._done.append((time, f"{rail} plugged in" if connected else f"{rail} unplugged"))

            self._world.agenda.add(due, rail, pull)

    def load(self, rail: str, ohms: float | None) -> None:
        """Put a dummy load of so many ohms across the leads of a rail, or take it off."""
        self._output(rail)
        with self._world.lock:

            def clip(time: float) -> None:
                self._world.load(rail, ohms)
                self._done.append((time, f"{rail} without load" if ohms is None else f"{rail} on {ohms:g} ohm"))

            self._world.agenda.add(self._begin_knob(), rail, clip)

    def _begin_knob(self) -> float:
        """When this request is done (s)."""
        self._knobs_free = max(self._knobs_free, sum(self._begin()))
        return self._knobs_free

    def _output(self, rail: str) -> int:
        if not self._outputs:
            raise UsageError("the supply of this bench is worked by its instrument, it has no knobs to turn")
        return self._outputs[known(rail, self._outputs, "rail", "this bench")]

    def _knob(self, what: str, spread: float) -> float:
        return self._tolerance.uniform(f"{what} knob {self._requests}", 1.0 - spread, 1.0 + spread)

    def _later(self, time: float, rail: str, words: str, changed: Callable[[OutputSetting], OutputSetting]) -> None:
        number = self._outputs[rail]

        def turn(then: float) -> None:
            self._world.apply(number, changed(self._world.supply.outputs[number].setting))
            self._done.append((then, words))

        self._world.agenda.add(time, rail, turn)
