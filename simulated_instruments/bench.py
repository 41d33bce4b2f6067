"""The way into the simulator: open a simulated bench, list boards and faults, tell the truth to tests, serve it.

Importing this module is cheap: arithmetic, devices and the VISA library come in when a bench is opened or reached.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from autobench.errors import UsageError
from simulated_instruments.benches.faults import BenchFault, bench_fault_places, damaged
from simulated_instruments.benches.wiring import FIXTURE, Wiring, list_wirings, read_wiring
from simulated_instruments.benches.wrong_board import board_faults, missing_points, really_there, wrong_board_places
from simulated_instruments.board.circuit import Circuit as Circuit
from simulated_instruments.board.circuit_file import circuit_path, list_circuits
from simulated_instruments.board.circuit_file import read_circuit as read_circuit
from simulated_instruments.board.faults import FaultPlace, board_fault_places
from simulated_instruments.connections.misbehaviour import Misbehaviour
from simulated_instruments.spelling import known

if TYPE_CHECKING:
    from autobench.clock import Clock
    from simulated_instruments.benches.person import SimulatedPerson
    from simulated_instruments.benches.truth import Truth
    from simulated_instruments.board.done import DoneFault
    from simulated_instruments.board.specimen import Specimen
    from simulated_instruments.board.tolerance import Tolerance
    from simulated_instruments.connections.in_process import InProcessLibrary
    from simulated_instruments.connections.loopback_server import LoopbackServer
    from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
    from simulated_instruments.devices.instrument import Device
    from simulated_instruments.differences import Difference
    from simulated_instruments.world import World


class SimulatedBench:
    """Simulated instruments wired to a simulated board. Open one with `SimulatedBench.open`.

    `person` holds the probes on a bench without relays, and is None on one with them. `faults` are those that were
    done to the board and the bench.
    """

    def __init__(
        self,
        world: World,
        devices: Mapping[str, Device],
        addresses: Mapping[str, str],
        clock: Clock,
        person: SimulatedPerson | None = None,
        specimen: Specimen | None = None,
    ) -> None:
        self.world, self.clock, self.person, self.specimen = world, clock, person, specimen
        self.devices: dict[str, Device] = dict(devices)
        self.addresses: dict[str, str] = dict(addresses)
        self.faults: tuple[DoneFault, ...] = ()
        self._library: InProcessLibrary | None = None
        self._servers: dict[str, dict[str, LoopbackServer[Any] | PseudoTerminalServer]] = {}  # by transport, by name
        self._lock = threading.Lock()

    @staticmethod
    def open(
        board: str,
        *,
        options: Mapping[str, str] | None = None,
        faults: Sequence[str] = (),
        seed: int = 0,
        circuit: Path | Circuit | None = None,
        clock: Clock | None = None,
        wiring: str | Path = FIXTURE,
        plate: Mapping[str, int] | None = None,
    ) -> SimulatedBench:
        """A bench with one specimen of `board`, drawn by `seed`, with `options` soldered and `faults` (`NAME` or
        `NAME@PART`) done to it.

        `circuit` is another circuit file for the same board, or for a board of one's own; `clock` defaults to a
        simulated one that starts at 0; `wiring` is one of `list_wirings` – `fixture` has relays, `hand` a person for
        the probes, `hand-supply` one for the supply's knobs as well – or a wiring file of one's own; `plate` (point to
        position) is what a wiring with relays gets for a board it has no plate for.
        Raises `UsageError` for a word that is not known, `FileError` for a wrong circuit file.
        """
        from simulated_instruments.benches.person import SimulatedPerson
        from simulated_instruments.board.specimen import Specimen
        from simulated_instruments.board.tolerance import Tolerance
        from simulated_instruments.clock import SimulatedClock
        from simulated_instruments.instruments import devices_of
        from simulated_instruments.world import World

        declared = circuit_of(board, circuit)
        wired = with_plate(wiring_of(wiring), board, plate)
        fitted = checked_options(declared, options or {})
        tolerance = Tolerance(seed)
        places = fault_places(declared, wired, board) if faults else []
        usual = read_wiring().fixtures.get(board, plate or ())
        picked = picked_faults(faults, places, declared.name, tolerance, usual)
        drawn, fitted = really_there(picked, declared, fitted)
        specimen = Specimen(drawn, fitted, tolerance, board_faults(picked, declared, drawn))
        assembly, done = specimen.soldered()
        bench_damage, more = damaged(picked, declared, tolerance)
        bench_damage.missing_points = missing_points(declared, drawn)
        own_clock = clock if clock is not None else SimulatedClock()
        world = World(assembly, wired, board, own_clock, bench_damage)
        person = SimulatedPerson(world, wired.hand, tolerance) if wired.hand else None
        addresses = {name: place.address for name, place in wired.instruments.items()}
        devices = devices_of(world, wired, own_clock, seed)
        bench = SimulatedBench(world, devices, addresses, own_clock, person, specimen)
        for name in bench_damage.unplugged:
            bench.unplug(name)
        bench.faults = (*done, *more)
        return bench

    @property
    def library(self) -> InProcessLibrary:
        """The VISA library to open these instruments with: `pyvisa.ResourceManager(bench.library)`."""
        if self._library is None:
            from simulated_instruments.connections.in_process import InProcessLibrary

            by_address = {self.addresses[name]: device for name, device in self.devices.items()}
            self._library = InProcessLibrary(by_address, self.clock)
            self._library.device_lock = self._lock  # one circuit, one lock, however it is reached
        return self._library

    def drop_connections(self, name: str) -> None:
        """Break every connection to an instrument now, as a router may; it goes on serving."""
        known(name, self.devices, "instrument", "this bench")
        for served in self._servers.values():
            server = served.get(name)
            if server is not None:
                server.drop_connections()

    def unplug(self, name: str) -> None:
        """Pull the plug of an instrument's cable now: it answers nothing more, and its outputs stay as they are."""
        self.devices[known(name, self.devices, "instrument", "this bench")].silent = True

    def work(self, how: str, part: str, net: str | None = None) -> None:
        """Hands on the dead board: `reseat` or `swap` a socketed chip, `lift` one leg of a chip or `put back` it.

        Raises `UsageError` while the board is live, for a chip that is soldered in and for a leg there is none of.
        """
        specimen = self.specimen
        if specimen is None:
            raise UsageError("nobody is at this bench")
        with self._lock, self.world.lock:
            if not self.world.dead(self.world.now()):
                raise UsageError(f"the board is live: {part} stays as it is")
            specimen.work(how, part, net)
            self.world.rework(specimen.soldered()[0])
            if self.person is not None:
                self.person.worked(f"{how} {part}" + (f" {net}" if net else ""))

    def felt(self) -> str | None:
        """The chip that is too hot to keep a finger on, None if there is none; see `board.heat`."""
        from simulated_instruments.board.heat import hottest

        with self._lock, self.world.lock:
            return hottest(self.world.board, self.world.now())

    def truth(self) -> Truth:
        """What really is at this moment; see `benches.truth`."""
        with self._lock:
            for device in self.devices.values():
                device.advance()
            return self.world.truth()

    def plug_in(self, name: str) -> None:
        """The cable of an instrument is in again and carries everything; its serial port is numbered anew."""
        self.misbehave(name, Misbehaviour())
        self.devices[name].silent = False
        if name in self._servers.get("serial", {}):
            self._servers["serial"].pop(name).stop()

    def misbehave(self, name: str, misbehaviour: Misbehaviour) -> None:
        """From now on every connection to an instrument does this to its replies."""
        known(name, self.devices, "instrument", "this bench")
        self.library.misbehave(self.addresses[name], misbehaviour)
        for served in self._servers.values():
            if name in served:
                served[name].misbehaviour = misbehaviour

    def serve_sockets(self, *, one_connection: Collection[str] = ()) -> dict[str, str]:
        """Serve each instrument on a loopback port of its own, by the bench's clock; returns name → VISA address.

        Those named in `one_connection` take one client at a time.
        """
        from simulated_instruments.connections.raw_socket import SocketServer

        return self._serve("raw socket", SocketServer, one_connection)

    def serve_hislip(self, *, one_connection: Collection[str] = ()) -> dict[str, str]:
        """As `serve_sockets`, by HiSLIP."""
        from simulated_instruments.connections.hislip import HislipServer

        return self._serve("hislip", HislipServer, one_connection)

    def serve_vxi11(self, *, one_connection: Collection[str] = ()) -> dict[str, str]:
        """As `serve_sockets`, by VXI-11."""
        from simulated_instruments.connections.vxi11 import Vxi11Server

        return self._serve("vxi-11", Vxi11Server, one_connection)

    def serve_serial(self) -> dict[str, str]:
        """As `serve_sockets`, each on a pseudo-terminal of its own."""
        from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer

        served = self._servers.setdefault("serial", {})
        for name, device in self.devices.items():
            if name not in served:
                served[name] = PseudoTerminalServer(device, lock=self._lock)
                served[name].start()
        return {name: server.address for name, server in served.items()}

    def _serve(
        self, transport: str, kind: type[LoopbackServer[Any]], one_connection: Collection[str]
    ) -> dict[str, str]:
        served = self._servers.setdefault(transport, {})
        for name, device in self.devices.items():
            if name not in served:
                served[name] = kind(device, one_connection=name in one_connection, lock=self._lock)
                served[name].start()
        return {name: server.address for name, server in served.items()}

    def close(self) -> None:
        """Stop serving, and give back the room that quick answers took. May be called twice."""
        while self._servers:
            for server in self._servers.popitem()[1].values():
                server.stop()
        self.world.forget()

    def __enter__(self) -> SimulatedBench:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def reference_plug() -> Path:
    """The circuit that is plugged in, in place of a board, while a bench is proved; its fixture has its name."""
    return Path(__file__).parent / "board" / "plugs" / "reference-plug.yaml"


def list_boards() -> list[str]:
    """The boards the simulator has a circuit of."""
    return list_circuits()


def list_faults(
    board: str, circuit: Path | Circuit | None = None, plate: Mapping[str, int] | None = None
) -> list[FaultPlace]:
    """Every fault of `board` and of its bench, at every place. Raises `UsageError` for an unknown board."""
    return fault_places(circuit_of(board, circuit), with_plate(read_wiring(), board, plate), board)


def differences(
    board: str,
    options: Mapping[str, str],
    faults: Sequence[str],
    seed: int,
    circuit: Path | Circuit | None = None,
    plate: Mapping[str, int] | None = None,
) -> list[Difference]:
    """What `faults` change on a board that stands powered, against its healthy twin; see `differences`."""
    from simulated_instruments.differences import differences as compared

    return compared(board, options, faults, seed, circuit, plate)


def wiring_of(wiring: str | Path) -> Wiring:
    """The wiring in a file, or the one that comes with the simulator under that name."""
    if isinstance(wiring, Path):
        return read_wiring(wiring)
    return read_wiring(known(wiring, list_wirings(), "wiring", "the simulator"))


def with_plate(wiring: Wiring, board: str, plate: Mapping[str, int] | None) -> Wiring:
    """The wiring with `plate` for `board`, where it has relays and none of its own."""
    if not plate or wiring.routes is None or board in wiring.fixtures:
        return wiring
    return replace(wiring, fixtures={**wiring.fixtures, board: plate})


def circuit_of(board: str, circuit: Path | Circuit | None) -> Circuit:
    """The circuit in the file `circuit` (or as it was read), or the one that comes with the simulator as `board`."""
    if isinstance(circuit, Circuit):
        return circuit
    if circuit is not None:
        return read_circuit(circuit)
    return read_circuit(circuit_path(known(board, list_circuits(), "board", "the simulator (--circuit names a file)")))


def fault_places(circuit: Circuit, wiring: Wiring, board: str) -> list[FaultPlace]:
    """Board faults first, then bench faults, the board on the bench last."""
    bench = bench_fault_places(wiring, board, circuit)
    return [*board_fault_places(circuit), *bench, *wrong_board_places(circuit)]


def checked_options(circuit: Circuit, options: Mapping[str, str]) -> dict[str, str]:
    """`options` if all are known to the circuit."""
    for name, choice in options.items():
        option = circuit.options[known(name, circuit.options, "option", circuit.name)]
        known(choice, option.choices, f"choice of '{name}'", circuit.name)
    return dict(options)


def picked_faults(
    faults: Sequence[str], places: Sequence[FaultPlace], board: str, tolerance: Tolerance, usual: Collection[str]
) -> list[FaultPlace]:
    """The places meant by `faults`; where no part is named the seed picks one, among the points that are `usual` to
    measure if it is points, except that of several instruments the meter is unplugged, and of several probes the first
    has the long ground lead: it is the one that looks at ripple."""
    by_fault: dict[str, dict[str, FaultPlace]] = {}
    for place in places:
        by_fault.setdefault(place.fault, {})[place.part] = place
    picked = []
    for text in faults:
        name, mark, part = text.partition("@")
        parts = by_fault[known(name, by_fault, "fault", board)]
        if mark:
            picked.append(parts[known(part, parts, f"place for '{name}'", board)])
        elif name in (BenchFault.UNPLUGGED, BenchFault.LONG_GROUND):
            picked.append(next(iter(parts.values())))
        else:
            likely = [part for part in parts if part in usual] or list(parts)
            picked.append(parts[tolerance.choice(f"place of {name}", likely)])
    return picked
