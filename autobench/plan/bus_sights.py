"""Which points of the buses and of the memory are captured together: neighbours in chains, data lines with what says
that somebody drives them, strobes with what tells whose they are.

Pure, like `sights`, which makes the sights themselves.
"""

from __future__ import annotations

from collections.abc import Sequence

from autobench.documents.bus import Driver, drivers_of, neighbours
from autobench.plan.scope_steps import Sight
from autobench.plan.sights import LOGIC, Sights, chunks, fast_rate

# Neighbours that are one show it in a millisecond of varied traffic (common practice); what drives a line shows sooner.
NEIGHBOUR_SECONDS = 1e-3
# Not shorter for strobes: a program may rest for most of a millisecond, and then nothing is written.
DRIVE_SECONDS, MEMORY_SECONDS = 0.5e-3, 0.2e-3
STROBE_SECONDS = 1e-3


class BusSights:
    """Sights of one board on one bench; those of points held by hand are left to single lines."""

    def __init__(self, sights: Sights) -> None:
        self.sights = sights
        board = sights.board
        self.lines = board.lines
        self.refresh = board.refresh
        self.pairs = neighbours(board.lines)
        self.drivers = drivers_of(board.parts, board.lines)
        self.room = len(sights.channels)
        self.strobes = self._strobes()
        self.driven = self._driven()
        self.chains = self._chains()

    def own(self) -> dict[str, Sight]:
        """Line to the first sight that shows it, for the lines of buses and memory that relays lead to."""
        found: dict[str, Sight] = {}
        # What a part drives is captured on purpose, with its select: that sight is the line's own in the memory.
        memory = [sight for driver, sight in self.driven.items() if driver.stage == "memory"]
        for sight in [*self.chains, *self.strobes, *memory]:
            for point in sight.points:
                line = self.lines.get(point.net)
                if line is not None and (line.stage, line.side) in OWN:
                    found.setdefault(point.net, sight)
        for group in chunks(self._on_relays("memory", "address"), self.room):
            found |= dict.fromkeys(group, self._sight(group, MEMORY_SECONDS))
        return found

    def together(self, names: Sequence[str], seconds: float) -> Sight:
        """A sight that shows `names`: one of those that are taken anyway, else one of its own."""
        for sight in [*self.chains, *self.driven.values(), *self.strobes]:
            if all(sight.shows(name) for name in names):
                return sight
        return self._sight(names, seconds)

    def _strobes(self) -> list[Sight]:
        """Every strobe of the memory, with the line that tells the refresher's own; none without relays there."""
        names = self._on_relays("memory", "strobe")
        tells = self.refresh.line if self.refresh is not None else None
        if tells is not None and tells not in names and self.sights.on_relays(self.lines[tells].point):
            names.append(tells)
        return [self._sight(names[: self.room], STROBE_SECONDS)] if names else []

    def of_driver(self, driver: Driver) -> Sight:
        """The sight a driver is judged in."""
        return self.driven.get(driver) or self._sight(told_by(driver), DRIVE_SECONDS)  # by hand

    def _driven(self) -> dict[Driver, Sight]:
        """Drivers with the same select share a sight, as many as there is room for."""
        groups: dict[tuple[object, ...], list[Driver]] = {}
        for driver in self.drivers:
            if all(self.sights.on_relays(self.lines[name].point) for name in told_by(driver)):
                groups.setdefault((driver.select, driver.gate, driver.stage), []).append(driver)
        found: dict[Driver, Sight] = {}
        for (select, gate, stage), drivers in groups.items():
            seconds = MEMORY_SECONDS if stage == "memory" else DRIVE_SECONDS
            telling = [str(select), *([gate[0]] if isinstance(gate, tuple) else [])]
            size = max(1, self.room - len(telling))
            for group in (drivers[start : start + size] for start in range(0, len(drivers), size)):
                names = [*telling, *dict.fromkeys(driver.line for driver in group)]
                if len(names) <= self.room:
                    found |= dict.fromkeys(group, self._sight(names, seconds))
        return found

    def _chains(self) -> list[Sight]:
        """Lines of a bus in groups that overlap by one, so that each is captured with both its neighbours."""
        made: list[Sight] = []
        for side in ("address", "data"):
            names = self._on_relays("bus", side)
            step = max(1, self.room - 1)
            for start in range(0, max(1, len(names) - 1), step):
                group = names[start : start + self.room]
                if group:
                    made.append(self._sight(group, NEIGHBOUR_SECONDS))
        return made

    def _on_relays(self, stage: str, side: str) -> list[str]:
        return [
            name
            for name, line in self.lines.items()
            if (line.stage, line.side) == (stage, side) and line.when is None and self.sights.on_relays(line.point)
        ]

    def _sight(self, names: Sequence[str], seconds: float) -> Sight:
        named = [(name, self.lines[name].point, LOGIC) for name in names]
        return self.sights.sight(named, seconds, max(fast_rate(self.lines[name]) for name in names))


# Stage and side of the lines whose sights are made here.
OWN = frozenset({("bus", "address"), ("bus", "data"), ("memory", "strobe"), ("memory", "data")})


def told_by(driver: Driver) -> list[str]:
    """The lines a driver is judged by, its own last."""
    return [driver.select, *([driver.gate[0]] if driver.gate is not None else []), driver.line]
