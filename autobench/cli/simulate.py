"""`autobench simulate BOARD`: the simulated bench for any program. Words to a served bench, its addresses to a file.

It opens and measures nothing itself; what it serves lies on this machine's loopback and pseudo-terminals only.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import click

from autobench.errors import UsageError

HEAD = "# Made by `autobench simulate`; good for as long as it runs. Nothing real is connected.\n"


@click.command()
@click.argument("board")
@click.option("--write", metavar="FILE", type=click.Path(path_type=Path), help="Write the bench file there as well.")
@click.option("--fault", metavar="NAME[@PART]", multiple=True, help="A fault of the board or the bench.")
@click.option("--seed", metavar="N", type=int, default=0, show_default=True, help="Which of its boards.")
@click.option("--one-connection", is_flag=True, help="Instruments on the network take one client at a time.")
@click.option("--stepped-clock", is_flag=True, help="Whatever is waited for comes at once, for tests.")
def simulate(
    board: str, write: Path | None, fault: tuple[str, ...], seed: int, one_connection: bool, stepped_clock: bool
) -> int:
    """Serve the simulated bench with one BOARD on raw sockets, HiSLIP, VXI-11 and serial lines, until interrupted.

    The bench file is printed on standard output; other programs use its addresses.
    """
    from autobench.simulation import Simulation, bench_to_serve

    wanted = Simulation(faults=fault, seed=seed)
    with bench_to_serve(board, wanted, stepped=stepped_clock) as bench:
        single = tuple(bench.devices) if one_connection else ()
        served = {
            "raw socket": bench.serve_sockets(one_connection=single),
            "HiSLIP": bench.serve_hislip(one_connection=single),
            "VXI-11": bench.serve_vxi11(one_connection=single),
            "serial": bench.serve_serial(),
        }
        text = bench_file(served)
        if write is not None:
            put(write, text)
        click.echo(text)
        click.echo("autobench: serving; Ctrl-C ends it", err=True)
        wait_for_interrupt()
    return 0


def bench_file(served: Mapping[str, Mapping[str, str]]) -> str:
    """The shipped bench file with the addresses of raw sockets, the others beside them as remarks."""
    from autobench.documents.places import find_bench

    text = find_bench("simulated").read_text(encoding="utf-8")
    body = text[text.index("\nbench:") + 1 :]
    body = re.sub(r"(?m)^simulated: in-process.*$", "simulated: served              # on this machine only", body)
    for name, address in served["raw socket"].items():
        others = "".join(
            f"\n    # {transport}: {addresses[name]}"
            for transport, addresses in served.items()
            if transport != "raw socket"
        )
        pattern = rf"(?m)(^  {re.escape(name)}:\n(?:    .*\n)*?    address: )\S+"
        found = re.search(pattern, body)
        if found is None:
            raise UsageError(f"the shipped bench file has no instrument '{name}'")
        body = f"{body[: found.end(1)]}{address}{others}{body[found.end() :]}"
    return HEAD + body


def put(path: Path, text: str) -> None:
    """Write the file whole or not at all, so that whoever waits for it never reads half of it."""
    beside = path.with_name(path.name + ".new")
    try:
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise UsageError(f"--write: {path} cannot be written: {error.strerror}") from error


def wait_for_interrupt() -> None:
    """Until Ctrl-C, or until the program is told to end."""
    import signal
    import threading

    ended = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: ended.set())
    ended.wait()
