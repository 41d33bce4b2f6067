"""The link against a bare client in the same run: round trips, blocks, write-then-query, four instruments at once."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from autobench.clock import RealClock
from autobench.instruments.link import Link
from autobench.instruments.visa import open_session
from autobench.protocols.blocks import encode_block
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.command_tree import CommandTree
from simulated_instruments.devices.instrument import Device
from tests.benchmarks.answering import Answering

pytestmark = pytest.mark.benchmark
ROUNDS = 400
BLOCK = bytes(range(256)) * 40_000  # 10 MB of every byte value


class Recorder(Device):
    """An instrument with no latency of its own."""

    model = "TEST RECORDER"
    latency = 0.0
    tree = CommandTree(beneath=Device.tree)


@contextlib.contextmanager
def linked(address: str, **options: Any) -> Iterator[Link]:
    """A link to an address."""
    link = Link(open_session(address, instrument="recorder"), "recorder", RealClock(), within=10.0, **options)
    try:
        yield link
    finally:
        link.close()


def fastest(action: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Median time of one call, s; of many, since other programs run on the same machine."""
    times = []
    for _ in range(rounds):
        before = time.perf_counter()
        action()
        times.append(time.perf_counter() - before)
    return sorted(times)[len(times) // 2]


def test_a_query_costs_at_most_four_round_trips_of_a_bare_socket() -> None:
    """The same peer is asked by a bare socket and through session, link and report."""
    with Answering({b"*IDN?\n": b"ALDER STREET,TEST,1,1\n"}) as peer:
        with socket.create_connection(("127.0.0.1", peer.port)) as bare:
            bare.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

            def ask() -> None:
                bare.sendall(b"*IDN?\n")
                bare.recv(4096)

            plain = fastest(ask)
        with linked(peer.address) as link:
            through = fastest(lambda: link.ask("*IDN?"))
    print(f"\nquery: {through * 1e6:.0f} µs, bare {plain * 1e6:.0f} µs, ratio {through / plain:.2f}")
    assert through <= 4.0 * plain


def bare_block(port: int) -> float:
    """Time of a 10 MB block by `recv_into` alone."""
    whole = len(encode_block(BLOCK)) + 1
    buffer = memoryview(bytearray(whole))
    with socket.create_connection(("127.0.0.1", port)) as bare:

        def ask() -> None:
            bare.sendall(b"CURV?\n")
            place = 0
            while place < whole:
                place += bare.recv_into(buffer[place:])

        return fastest(ask, 15)


def test_a_block_moves_at_a_third_of_a_bare_sockets_rate() -> None:
    """10 MB with every byte value in it, read by exact counts."""
    with Answering({b"CURV?\n": encode_block(BLOCK) + b"\n"}) as peer:
        plain = bare_block(peer.port)
        with linked(peer.address) as link:
            assert link.ask_block("CURV?") == BLOCK
            through = fastest(lambda: link.ask_block("CURV?"), 15)
    print(f"\nblock: {10.24 / through:.0f} MB/s, bare {10.24 / plain:.0f} MB/s, share {plain / through:.2f}")
    assert plain / through >= 0.35


def test_a_block_over_hislip_moves_at_a_third_of_a_bare_sockets_rate() -> None:
    """The same block in HiSLIP messages of the size the client asks for."""
    with Answering({b"CURV?\n": encode_block(BLOCK) + b"\n"}) as peer:
        plain = bare_block(peer.port)
    with Answering({b"CURV?": encode_block(BLOCK) + b"\n"}, hislip=True) as peer, linked(peer.address) as link:
        assert link.ask_block("CURV?") == BLOCK
        through = fastest(lambda: link.ask_block("CURV?"), 15)
    print(f"\nHiSLIP block: {10.24 / through:.0f} MB/s, bare {10.24 / plain:.0f} MB/s, share {plain / through:.2f}")
    assert plain / through >= 0.35


@pytest.mark.parametrize("server", [SocketServer, HislipServer])
def test_a_command_before_a_query_costs_no_stall(server: Any) -> None:
    """Two writes before a read do not wait for the peer's delayed acknowledgement, as the stock session does."""
    with server(Recorder("recorder", RealClock())) as running, linked(running.address) as link:
        alone = fastest(lambda: link.ask("*ESE?"), 100)

        def both() -> None:
            link.say("*ESE 36")
            link.ask("*ESE?")

        together = fastest(both, 100)
    print(f"\nwrite then query: {together * 1e3:.2f} ms, query alone {alone * 1e3:.2f} ms")
    assert together < alone + 0.010


def test_four_instruments_at_once_are_nearly_four_times_one() -> None:
    """Instruments whose replies take 2 ms, each with its own thread and link; each the best of three runs."""
    with contextlib.ExitStack() as stack:
        peers = [stack.enter_context(Answering({b"ASK?\n": b"1\n"}, delay=0.002)) for _ in range(4)]
        links = [stack.enter_context(linked(peer.address)) for peer in peers]
        pool = stack.enter_context(ThreadPoolExecutor(4))
        four, one = (max(rate(pool, some) for _ in range(3)) for some in (links, links[:1]))
    print(f"\nfour instruments: {four:.0f} queries a second, one {one:.0f}, ratio {four / one:.2f}")
    assert four >= 3.6 * one


def rate(pool: ThreadPoolExecutor, links: list[Link]) -> float:
    """Queries a second over these links at once."""
    barrier = threading.Barrier(len(links))

    def work(link: Link) -> None:
        barrier.wait()
        for _ in range(200):
            link.ask("ASK?")

    before = time.perf_counter()
    list(pool.map(work, links))
    return 200.0 * len(links) / (time.perf_counter() - before)
