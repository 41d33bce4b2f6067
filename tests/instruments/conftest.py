"""A link to a device of the simulator, over each of our transports, for the tests of the link."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest

from autobench.clock import Clock, RealClock
from autobench.instruments.exchange import Exchange
from autobench.instruments.link import Link
from autobench.instruments.visa import open_session
from autobench.protocols.blocks import encode_block
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.command_tree import Command, CommandTree
from simulated_instruments.devices.instrument import Device

WITHIN = 0.2  # seconds; short, because over a socket the tests run in real time


class Recorder(Device):
    """An instrument with a stored curve, and a counter that tells how often it was asked."""

    model = "TEST RECORDER"
    latency = 0.001

    def __init__(self, name: str, clock: Clock) -> None:
        super().__init__(name, clock)
        self.curve = b""
        self.cut: int | None = None
        self.counted = 0

    def answer_curve(self) -> str:
        return encode_block(self.curve)[: self.cut].decode("latin-1")

    def answer_endless(self) -> str:
        return "#0" + self.curve.decode("latin-1")

    def count(self) -> str:
        self.counted += 1
        return str(self.counted)

    tree = CommandTree(
        Command("CURVe?", answer_curve),
        Command("CURVe:ENDLess?", answer_endless),
        Command("COUNt?", count),
        beneath=Device.tree,
    )


@dataclass
class Bench:
    """One recorder on one link, with everything the link reported."""

    device: Recorder
    link: Link
    clock: Clock
    exchanges: list[Exchange] = field(default_factory=list)

    def come_back(self) -> None:
        """The device behaves again."""
        self.device.silent, self.device.late, self.device.cut, self.device.terminator = False, 0.0, None, b"\n"


def link_for(device: Recorder, clock: Clock, address: str, library: Any = None, **options: Any) -> Bench:
    session = open_session(address, instrument="recorder", library=library)
    bench = Bench(device, None, clock)  # type: ignore[arg-type]
    options = {"within": WITHIN, "errors": "SYST:ERR?", **options}
    bench.link = Link(session, "recorder", clock, on_exchange=bench.exchanges.append, **options)
    return bench


@pytest.fixture
def in_process() -> Iterator[Bench]:
    clock = SimulatedClock()
    device = Recorder("recorder", clock)
    bench = link_for(device, clock, "GPIB0::5::INSTR", InProcessLibrary({"GPIB0::5::INSTR": device}, clock))
    yield bench
    bench.link.close()


@pytest.fixture
def over_socket() -> Iterator[Bench]:
    clock = RealClock()
    device = Recorder("recorder", clock)
    with SocketServer(device) as server:
        bench = link_for(device, clock, server.address)
        yield bench
        bench.link.close()


@pytest.fixture(params=["in_process", "over_socket"])
def bench(request: pytest.FixtureRequest) -> Bench:
    return request.getfixturevalue(request.param)  # type: ignore[no-any-return]


@pytest.fixture
def connect() -> Callable[..., Bench]:
    """Makes a bench on an address."""
    return link_for


@pytest.fixture
def make_recorder() -> type[Recorder]:
    """Makes a recorder on a clock."""
    return Recorder
