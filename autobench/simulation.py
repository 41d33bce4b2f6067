"""The one place where the program meets the simulator: opens a simulated bench, and lets a simulated person act.

The simulator's person reads the same prompts as a real one. Nothing here decides anything about a run.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
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
    from simulated_instruments.bench import Circuit, SimulatedBench
    from simulated_instruments.benches.person import SimulatedPerson


# Prompts that a key answers, and seconds in which the simulated person has certainly done them.
SAID_DONE = ("clip", "plug", "set", "load")
SIMULATED_REACH = 2.0
# Hands on the dead board, with the seconds they take (common practice).
WORKED = {"reseat": 90.0, "swap": 120.0, "lift": 180.0, "put back": 60.0}
DRIES_IN = 120.0
TEMPERED = ("cool", "warm")  # done to one part of a live board, which goes on being watched
# The key that answers a prompt where it is not Enter; None where it is only taken after a while.
ANSWERS: Mapping[str, str | None] = {"question": "yes", "touch": None, "together": None, "cool": None, "warm": None}
LONG_LOOK = 300  # waits for a key, a tenth of a second each, until a simulated person thinks a tip has stood enough


class SimulatedKeys:
    """The keyboard of the simulated person: presses the key that says it is done. See `autobench.run.person.Keys`.

    `felt`: the chip that is too hot for a finger, for whoever asks.
    """

    def __init__(self) -> None:
        self.typing = False
        self.pace = 1.0
        self.felt: Callable[[], str | None] = lambda: None
        self._wanted: list[str] = []
        self._waits = 0

    def prompted(self, event: Event) -> None:
        """A view: what is asked for is answered in a moment."""
        if isinstance(event, Prompted):
            self._waits = 0
            answer = ANSWERS.get(event.kind, "enter")
            self._wanted = [answer] if answer is not None else []
            if event.kind == "heat":
                self._wanted += reversed(self.felt() or "")

    def get(self, seconds: float) -> str | None:  # noqa: ARG002 (a simulated person never lets anybody wait)
        """The next key; a tip that is not taken by itself is taken in the end, or left out."""
        if self._wanted:
            return self._wanted.pop()
        self._waits += 1
        return {LONG_LOOK: "enter", 2 * LONG_LOOK: "skip"}.get(self._waits)

    def off(self) -> bool:
        """It never switches off by itself."""
        return False

    def forget(self) -> None:
        """What was pressed before a question does not answer it."""
        self._wanted = []


DERIVED: dict[str, tuple[Board, Circuit]] = {}  # circuits made from board files, with those, by the board's name


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

    name = documents.board.board
    soldered = {**plan.options, **documents.board.resolve_options({**plan.options, **wanted.soldered})}
    return SimulatedBench.open(
        name,
        options=soldered,
        faults=wanted.faults,
        seed=wanted.seed or 0,
        circuit=circuit_for(documents.board, wanted.circuit),
        wiring=documents.bench.wiring,
        plate=documents.bench.fixtures.get(name),
    )


def is_derived(board: Board, circuit: Path | None) -> bool:
    """Whether the simulator has to be given a circuit made from the board file."""
    from simulated_instruments.bench import list_boards

    return circuit is None and board.board not in list_boards()


def changed_by_faults(wanted: Simulation, documents: Documents, plan: Plan) -> list[tuple[str, str, str]]:
    """What the wanted faults change on the simulated board once it stands: net or node, as it was, as it is."""
    from simulated_instruments.bench import differences

    name = documents.board.board
    found = differences(
        name,
        {**plan.options, **wanted.soldered},
        wanted.faults,
        wanted.seed or 0,
        circuit_for(documents.board, wanted.circuit),
        documents.bench.fixtures.get(name),
    )
    return [(one.net, one.healthy, one.faulty) for one in found]


def remark_of(wanted: Simulation, documents: Documents) -> str:
    """What everything that comes out of a run on the simulated bench must say; nothing for a circuit of its own."""
    if documents.bench.simulated != "in-process" or not is_derived(documents.board, wanted.circuit):
        return ""
    from autobench.derived.circuit import REMARK

    return REMARK


def circuit_for(board: Board, circuit: Path | None) -> Path | Circuit | None:
    """The circuit of a simulated bench: a file of one's own, a derived one, or (None) the simulator's.

    Raises `UsageError` where none can be derived.
    """
    if not is_derived(board, circuit):
        return circuit
    if DERIVED.get(board.board, (None, None))[0] is not board:  # made once for each time a board file is read
        DERIVED[board.board] = (board, read_derived(board))
    return DERIVED[board.board][1]


def read_derived(board: Board) -> Circuit:
    """A derived circuit, as the simulator reads it from a file."""
    import tempfile

    import yaml

    from autobench.derived.circuit import derived_circuit
    from simulated_instruments.bench import read_circuit

    text = yaml.safe_dump(derived_circuit(board), sort_keys=False, allow_unicode=True)
    with tempfile.TemporaryDirectory(prefix="autobench-") as folder:
        path = Path(folder) / "derived.yaml"
        path.write_text(text, encoding="utf-8")
        return read_circuit(path)


def with_plate(documents: Documents) -> Documents:
    """The documents, with a plate on the simulated bench for a board that it has none for."""
    bench, board = documents.bench, documents.board
    if bench.simulated != "in-process" or bench.routes is None or board.board in bench.fixtures:
        return documents
    from autobench.derived.plate import bench_with_plate

    most = max(
        place % 100 for place in documents.drivers[bench.routes.relays].places
    )  # channel = 100 x slot + position
    return replace(documents, bench=bench_with_plate(bench, board, most))


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


def open_proof(wanted: Simulation, bench: Bench) -> SimulatedBench | None:
    """The in-process bench with the reference plug in place of a board, if the bench file says that it is one."""
    if bench.simulated != "in-process":
        if wanted.wanted:
            raise UsageError("--fault and --seed are for the simulated bench only")
        return None
    from simulated_instruments.bench import SimulatedBench, reference_plug

    plug = reference_plug()
    return SimulatedBench.open(
        plug.stem, faults=wanted.faults, seed=wanted.seed or 0, circuit=plug, wiring=bench.wiring
    )


def any_simulation(bench: Bench) -> SimulatedBench | None:
    """The in-process bench of a bench file with some board on it, for what needs no particular one."""
    if bench.simulated != "in-process":
        return None
    from simulated_instruments.bench import SimulatedBench, list_boards

    return SimulatedBench.open(list_boards()[0], options={}, faults=(), seed=0, wiring=bench.wiring)


def bystander(
    simulated: SimulatedBench, say: Callable[[str], None], *, keys_know: bool = False
) -> Callable[[Event], None]:
    """A view that lets the simulated person do what is prompted; `say` tells what only their eyes and fingers could
    know, unless whoever is at the keys knows by themselves."""

    def act(event: Event) -> None:
        if isinstance(event, Prompted) and simulated.person is not None:
            do_as_prompted(simulated.person, event)
            if event.kind in WORKED and event.part is not None:
                simulated.clock.sleep(WORKED[event.kind])
                simulated.work(event.kind, event.part, event.net)
            if event.kind == "dry":
                simulated.clock.sleep(DRIES_IN)
            if event.kind == "heat" and not keys_know:
                say(f"SIMULATED: {simulated.felt() or 'no chip'} is too hot to keep a finger on")
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
    if prompt.kind in (*WORKED, *TEMPERED, "dry"):
        person.lay_down()
    if prompt.kind in TEMPERED and prompt.part is not None:
        person.temper(prompt.kind, prompt.part)
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
    from autobench.derived.plate import positions_of
    from simulated_instruments import bench

    found = read(places.find_board(board), Board)
    rows = bench.list_faults(found.board, circuit_for(found, circuit), positions_of(found))
    return [
        {"fault": str(row.fault), "part": row.part, "net": row.net, "kind": row.kind, "words": row.words}
        for row in rows
    ]
