"""The one place where the program meets the simulator: opens a simulated bench, and lets a simulated person act.

The simulator's person reads the same prompts as a real one. Nothing here decides anything about a run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from autobench.documents import places
from autobench.documents.bench import Bench
from autobench.documents.board import Board
from autobench.documents.gathered import Documents
from autobench.documents.reading import read
from autobench.errors import UsageError
from autobench.events import Event, Prompted, TrueFault, Truth
from autobench.plan.steps import Plan

if TYPE_CHECKING:
    from simulated_instruments.bench import SimulatedBench
    from simulated_instruments.benches.person import SimulatedPerson


# Prompts that a key answers, and seconds in which the simulated person has certainly done them.
SAID_DONE = ("clip", "plug", "set", "load")
SIMULATED_REACH = 2.0


@dataclass(frozen=True)
class Simulation:
    """What only the simulated bench understands."""

    faults: tuple[str, ...] = ()
    soldered: Mapping[str, str] = field(default_factory=dict)
    circuit: Path | None = None
    seed: int | None = None

    @property
    def wanted(self) -> bool:
        """Whether anything was asked for."""
        return bool(self.faults or self.soldered or self.circuit is not None or self.seed is not None)


def open_simulation(wanted: Simulation, documents: Documents, plan: Plan) -> SimulatedBench | None:
    """The in-process bench if the bench file says so; raises `UsageError` for options that only it understands."""
    if documents.bench.simulated != "in-process":
        if wanted.wanted:
            raise UsageError("--fault, --soldered, --circuit and --seed are for the simulated bench only")
        return None
    from simulated_instruments.bench import SimulatedBench

    soldered = {**plan.options, **documents.board.resolve_options({**plan.options, **wanted.soldered})}
    return SimulatedBench.open(
        documents.board.board,
        options=soldered,
        faults=wanted.faults,
        seed=wanted.seed or 0,
        circuit=wanted.circuit,
        wiring=documents.bench.wiring,
    )


def bench_to_serve(board: str, wanted: Simulation, *, stepped: bool) -> SimulatedBench:
    """A bench for other programs, in real time; `stepped`: on a clock that jumps to whatever is waited for."""
    from autobench.clock import RealClock
    from simulated_instruments.bench import SimulatedBench

    return SimulatedBench.open(
        read(places.find_board(board), Board).board,
        options=wanted.soldered,
        faults=wanted.faults,
        seed=wanted.seed or 0,
        circuit=wanted.circuit,
        clock=None if stepped else RealClock(),
    )


def any_simulation(bench: Bench) -> SimulatedBench | None:
    """The in-process bench of a bench file with some board on it, for what needs no particular one."""
    if bench.simulated != "in-process":
        return None
    from simulated_instruments.bench import SimulatedBench, list_boards

    return SimulatedBench.open(list_boards()[0], options={}, faults=(), seed=0, wiring=bench.wiring)


def bystander(simulated: SimulatedBench, say: Callable[[str], None]) -> Callable[[Event], None]:
    """A view that lets the simulated person do what is prompted; `say` tells what only their eyes could see."""

    def act(event: Event) -> None:
        if isinstance(event, Prompted) and simulated.person is not None:
            do_as_prompted(simulated.person, event)
            if event.kind in SAID_DONE:
                simulated.clock.sleep(SIMULATED_REACH)  # whoever presses the key for it has done it by then
            if event.kind == "number" and event.rail is not None:
                outputs = {feed.rail: feed.output for feed in simulated.world.wiring.supply.feeds}
                amps = simulated.truth().outputs[outputs[event.rail]].amps
                say(f"SIMULATED: the ammeter of {event.rail} shows {amps:.2f} A")

    return act


def do_as_prompted(person: SimulatedPerson, prompt: Prompted) -> None:
    """One prompt, done by the simulated person."""
    place = prompt.place
    if prompt.kind == "together":
        person.together()
    if prompt.kind == "plug" and prompt.rail is not None:
        person.plug(prompt.rail, bool(prompt.on))
    if prompt.kind == "load" and prompt.rail is not None:
        person.load(prompt.rail, prompt.ohms)
    if prompt.kind == "set" and prompt.rail is not None and prompt.volts is not None and prompt.amps is not None:
        person.set_supply(prompt.rail, prompt.volts, prompt.amps)
    if prompt.kind == "switch" and prompt.rail is not None:
        if prompt.volts is not None and prompt.amps is not None:
            person.set_supply(prompt.rail, prompt.volts, prompt.amps)  # what a supply of that kind gives by itself
        person.switch_supply(prompt.rail, bool(prompt.on))
    if place is not None:
        person.touch(place.tip, place.point, place.against or None)


def truth_of(simulated: SimulatedBench, at: float) -> Truth:
    """What the simulator knows of its outputs."""
    truth = simulated.truth()
    return Truth(
        at=at,
        outputs={f"output {number}": output.on for number, output in truth.outputs.items()},
        most_volts=dict(truth.most_volts),
        times_on=truth.times_on,
        faults=tuple(TrueFault(str(done.fault), done.part, done.nets, done.asleep) for done in simulated.faults),
    )


def list_faults(board: str, circuit: Path | None = None) -> list[dict[str, str | None]]:
    """The faults the simulator knows for a board (with the circuit in a file of one's own), as the contract's rows."""
    from simulated_instruments import bench

    name = read(places.find_board(board), Board).board
    return [
        {"fault": row.fault, "part": row.part, "net": row.net, "kind": row.kind, "words": row.words}
        for row in bench.list_faults(name, circuit)
    ]
