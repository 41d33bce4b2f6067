"""The plate: from closed relays to touched points, whole and damaged; and which pins lie beside which."""

from __future__ import annotations

import pytest

from simulated_instruments.benches.faults import BenchDamage
from simulated_instruments.benches.plate import Plate
from simulated_instruments.benches.touches import neighbours
from simulated_instruments.benches.wiring import Routes

ROUTES = Routes("relays", "meter", high=1, low=2, path_ohms=0.3, scope=(3, 4))
POSITIONS = {"J1.1": 1, "J1.2": 2, "U1.6": 7}


def test_each_slot_brings_the_points_of_its_closed_positions() -> None:
    """Channel 100 × slot + position; points come in the order of their positions, unknown channels bring nothing."""
    plate = Plate(ROUTES, POSITIONS, BenchDamage())
    assert plate.touches(frozenset({107, 101, 202, 407, 311, 901})) == {
        "meter high": ("J1.1", "U1.6"),
        "meter low": ("J1.2",),
        "scope 2": ("U1.6",),
    }
    assert plate.touches(frozenset()) == {}


def test_relays_that_do_not_move_count_as_they_stand() -> None:
    """One stuck open brings nothing, a welded one brings its point whatever is told."""
    plate = Plate(ROUTES, POSITIONS, BenchDamage(stuck_open={101}, stuck_closed={202}))
    assert plate.touches(frozenset({101})) == {"meter low": ("J1.2",)}


def test_a_pin_that_does_not_touch_or_touches_its_neighbour_does_so_for_all_inputs() -> None:
    """The damage is at the pin, behind the relays of every input."""
    plate = Plate(ROUTES, POSITIONS, BenchDamage(not_touching={"J1.1"}, wrong_pins={"U1.6": "U1.7"}))
    assert plate.touches(frozenset({101, 107, 301, 407})) == {"meter high": ("U1.7",), "scope 2": ("U1.7",)}
    assert plate.points == ["J1.2", "U1.7"]


@pytest.mark.parametrize(
    ("point", "beside"), [("U1.6", ["U1.5", "U1.7"]), ("U1.5", ["U1.6"]), ("J1.1", []), ("+5V plug +", [])]
)
def test_the_pins_beside_a_pin_are_those_the_circuit_has(point: str, beside: list[str]) -> None:
    """Same part, number one up or down; a name without a number has none beside it."""
    points = dict.fromkeys(["U1.5", "U1.6", "U1.7", "J1.1", "J2.2"], "net")
    assert neighbours(point, points) == beside
