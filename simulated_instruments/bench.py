"""The way into the simulator: open a simulated bench, list boards and faults, tell the truth to tests, serve it.

Importing this module is cheap: arithmetic, devices and the VISA library come in when a bench is opened or reached.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from autobench.errors import UsageError
from simulated_instruments.benches.faults import BenchDamage, BenchFault, bench_fault_places, damage_bench
from simulated_instruments.benches.wiring import FIXTURE, Wiring, list_wirings, read_wiring
from simulated_instruments.benches.wrong_board import missing_points, really_there, wrong_board_places
from simulated_instruments.board.circuit import Circuit
from simulated_instruments.board.circuit_file import circuit_path, list_circuits, read_circuit
from simulated_instruments.board.faults import FaultPlace, board_fault_places, damage
from simulated_instruments.spelling import known

if TYPE_CHECKING:
    from autobench.clock import Clock
    from simulated_instruments.benches.person import SimulatedPerson
    from simulated_instruments.benches.truth import Truth
    from simulated_instruments.board.tolerance import Tolerance
    from simulated_instruments.connections.hislip import HislipServer
    from simulated_instruments.connections.in_process import InProcessLibrary
    from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
    from simulated_instruments.connections.raw_socket import SocketServer
    from simulated_instruments.devices.instrument import Device
    from simulated_instruments.world import World


class SimulatedBench:
    """Simulated instruments wired to a simulated board. Open one with `SimulatedBench.open`.

    `person` holds the probes on a bench without relays, and is None on one with them.
    """

    def __init__(
        self,
        world: World,
        devices: Mapping[str, Device],
        addresses: Mapping[str, str],
        clock: Clock,
        person: SimulatedPerson | None = None,
    ) -> None:
        self.world, self.clock, self.person = world, clock, person
        self.devices: dict[str, Device] = dict(devices)
        self.addresses: dict[str, str] = dict(addresses)
        self._library: InProcessLibrary | None = None
        self._servers: dict[str, SocketServer] = {}
        self._hislip: dict[str, HislipServer] = {}
        self._serial: dict[str, PseudoTerminalServer] = {}
        self._lock = threading.Lock()

    @staticmethod
    def open(
        board: str,
        *,
        options: Mapping[str, str] | None = None,
        faults: Sequence[str] = (),
        seed: int = 0,
        circuit: Path | None = None,
        clock: Clock | None = None,
        wiring: str = FIXTURE,
    ) -> SimulatedBench:
        """A bench with one specimen of `board`, drawn by `seed`, with `options` soldered and `faults` (`NAME` or
        `NAME@PART`) done to it.

        `circuit` is another circuit file for the same board; `clock` defaults to a simulated one that starts at 0;
        `wiring` is one of `list_wirings`: `fixture` has relays, `hand` a person for the probes, `hand-supply` one for
        the supply's knobs as well.
        Raises `UsageError` for a word that is not known, `FileError` for a wrong circuit file.
        """
        from simulated_instruments.benches.person import SimulatedPerson
        from simulated_instruments.board.assembly import assemble
        from simulated_instruments.board.tolerance import Tolerance
        from simulated_instruments.clock import SimulatedClock
        from simulated_instruments.world import World

        declared = circuit_of(board, circuit)
        wired = read_wiring(known(wiring, list_wirings(), "wiring", "the simulator"))
        fitted = checked_options(declared, options or {})
        tolerance = Tolerance(seed)
        usual = read_wiring().fixtures.get(board, ())
        picked = picked_faults(faults, fault_places(declared, wired, board), declared.name, tolerance, usual)
        drawn, fitted = really_there(picked, declared, fitted)
        assembly = assemble(drawn, fitted, tolerance)
        bench_damage = BenchDamage(missing_points=missing_points(declared, drawn))
        for place in picked:
            if place.kind == "bench":
                damage_bench(bench_damage, place, declared, tolerance)
            elif drawn is declared:
                damage(assembly, place)
            else:
                raise UsageError(f"{place.fault} is a fault of {declared.name}, and {drawn.name} is on the bench")
        own_clock = clock if clock is not None else SimulatedClock()
        world = World(assembly, wired, board, own_clock, bench_damage)
        person = SimulatedPerson(world, wired.hand, tolerance) if wired.hand else None
        addresses = {name: place.address for name, place in wired.instruments.items()}
        bench = SimulatedBench(world, devices_of(world, wired, own_clock, seed), addresses, own_clock, person)
        for name in bench_damage.unplugged:
            bench.unplug(name)
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
        server = self._servers[known(name, self._servers, "served instrument", "this bench")]
        server.drop_connections()

    def unplug(self, name: str) -> None:
        """Pull the plug of an instrument's cable now: it answers nothing more, and its outputs stay as they are."""
        self.devices[known(name, self.devices, "instrument", "this bench")].silent = True

    def truth(self) -> Truth:
        """What really is at this moment; see `benches.truth`."""
        with self._lock:
            for device in self.devices.values():
                device.advance()
            return self.world.truth()

    def serve_sockets(self, *, one_connection: Collection[str] = ()) -> dict[str, str]:
        """Serve each instrument on a loopback port of its own, by the bench's clock; returns name → VISA address.

        Those named in `one_connection` take one client at a time.
        """
        from simulated_instruments.connections.raw_socket import SocketServer

        for name, device in self.devices.items():
            if name not in self._servers:
                self._servers[name] = SocketServer(device, one_connection=name in one_connection, lock=self._lock)
                self._servers[name].start()
        return {name: server.address for name, server in self._servers.items()}

    def serve_hislip(self, *, one_connection: Collection[str] = ()) -> dict[str, str]:
        """As `serve_sockets`, by HiSLIP."""
        from simulated_instruments.connections.hislip import HislipServer

        for name, device in self.devices.items():
            if name not in self._hislip:
                self._hislip[name] = HislipServer(device, one_connection=name in one_connection, lock=self._lock)
                self._hislip[name].start()
        return {name: server.address for name, server in self._hislip.items()}

    def serve_serial(self) -> dict[str, str]:
        """As `serve_sockets`, each on a pseudo-terminal of its own."""
        from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer

        for name, device in self.devices.items():
            if name not in self._serial:
                self._serial[name] = PseudoTerminalServer(device, lock=self._lock)
                self._serial[name].start()
        return {name: server.address for name, server in self._serial.items()}

    def close(self) -> None:
        """Stop serving. May be called twice."""
        for served in (self._hislip, self._serial):
            for server in served.values():
                server.stop()
            served.clear()
        while self._servers:
            self._servers.popitem()[1].stop()

    def __enter__(self) -> SimulatedBench:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def list_boards() -> list[str]:
    """The boards the simulator has a circuit of."""
    return list_circuits()


def list_faults(board: str, circuit: Path | None = None) -> list[FaultPlace]:
    """Every fault of `board` and of its bench, at every place. Raises `UsageError` for an unknown board."""
    return fault_places(circuit_of(board, circuit), read_wiring(), board)


def circuit_of(board: str, circuit: Path | None) -> Circuit:
    """The circuit in the file `circuit`, or the one that comes with the simulator under the name `board`."""
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


def devices_of(world: World, wiring: Wiring, clock: Clock, seed: int) -> dict[str, Device]:
    """The instruments of the wiring, each at its terminals."""
    from simulated_instruments.devices.meter_conf_read import ConfReadMeter
    from simulated_instruments.devices.relays_slot_channel import SlotChannelRelays
    from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
    from simulated_instruments.devices.supply_channel_list import ChannelListSupply
    from simulated_instruments.scope_probes import ScopeSockets
    from simulated_instruments.world import MeterSockets, RelayContacts, SupplySockets

    damage = world.damage

    def made(name: str, device: str) -> Device:
        if device == "PS-3":
            supply = ChannelListSupply(name, clock, SupplySockets(world), seed)
            supply.outputs[1].tripped_on_volts = damage.latched
            return supply
        if device == "M-1":
            meter = ConfReadMeter(name, clock, MeterSockets(world), seed)
            meter.held_range, meter.held_cycles = damage.held_range, damage.held_cycles
            return meter
        if device == "W-1":
            return SlotChannelRelays(name, clock, RelayContacts(world), seed)
        if device == "O-1b" and world.probes:
            scope = PreambleDataScope(name, clock, ScopeSockets(world.probes), seed)
            scope.held_coupling, scope.held_time_scale = damage.held_coupling, damage.held_time_scale
            scope.trigger.never = damage.never_triggers
            scope.converter.dividers |= damage.dividers
            scope.reset()  # it is switched on with its front panel as it stands
            return scope
        raise UsageError(f"the wiring file names a device '{device}' for '{name}', which there is none of")

    return {name: made(name, place.device) for name, place in wiring.instruments.items()}
