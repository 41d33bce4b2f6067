"""A pogo plate behind a relay multiplexer: what the closed relays bring to the inputs, its damage included.

It knows positions and channels, no circuit and no instrument.
"""

from __future__ import annotations

from collections.abc import Mapping

from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.touches import METER_HIGH, METER_LOW, Touches, counter_input, scope_input
from simulated_instruments.benches.wiring import Routes


class Plate:
    """Pins of one board's plate. `positions` is point → position; a channel is 100 × slot + position."""

    def __init__(self, routes: Routes, positions: Mapping[str, int], damage: BenchDamage) -> None:
        self._damage = damage
        self._points = {
            place: damage.wrong_pins.get(point, point)
            for point, place in positions.items()
            if point not in damage.not_touching
        }
        scope = {slot: scope_input(number) for number, slot in enumerate(routes.scope, start=1)}
        counter = {slot: counter_input(number) for number, slot in enumerate(routes.counter, start=1)}
        self._inputs = {routes.high: METER_HIGH, routes.low: METER_LOW} | scope | counter

    @property
    def points(self) -> list[str]:
        """What the pins really touch, in the order of the wiring file."""
        return list(self._points.values())

    def touches(self, told: frozenset[int]) -> Touches:
        """What the inputs touch when the relays are told that exactly the channels `told` should be closed."""
        closed = (told - self._damage.stuck_open) | self._damage.stuck_closed
        found: dict[str, tuple[str, ...]] = {}
        for channel in sorted(closed):
            slot, place = divmod(channel, 100)
            name, point = self._inputs.get(slot), self._points.get(place)
            if name and point and point not in found.get(name, ()):
                found[name] = (*found.get(name, ()), point)
        return found
