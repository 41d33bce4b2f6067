"""`autobench find PORT…`: which instruments are there, and a bench file for them. Words to a call, nothing more."""

from __future__ import annotations

from pathlib import Path

import click

from autobench.errors import UsageError


@click.command()
@click.argument("port", nargs=-1)
@click.option(
    "--write",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write the bench file there; it must not exist yet.",
)
@click.option("--network", is_flag=True, help="Ports on other machines may be named as well.")
@click.option("--mains", type=click.Choice(["50", "60"]), default="50", show_default=True, help="Hz of the mains.")
def find(port: tuple[str, ...], write: Path | None, network: bool, mains: str) -> int:
    """Ask who is at each PORT you name, in which dialect, and make a bench file of them.

    A PORT is a serial port (/dev/ttyUSB0), an address (USB0::0x1234::0x5678::INSTR), HOST:PORT, or the number of a port
    of this machine. Only those are opened, and nothing but questions is sent. Without a PORT the serial ports and USB
    instruments that are plugged in are listed, and none is opened. The network is never searched.

    Exit code: 0 all found; 4 one was not, and no file is written; 2 a word or a file is wrong.
    """
    from autobench.commissioning.bench_text import bench_text
    from autobench.commissioning.search import known_drivers, ports_named, search

    if not port:
        return plugged_in()
    ports = ports_named(port, network)
    if write is not None and write.exists():
        raise UsageError(f"--write: {write} is there already; it is not written over")
    drivers = known_drivers(write.parent if write is not None else Path())
    found, failed = search(ports, drivers, lambda words: click.echo(words, err=True))
    for each in found:
        click.echo(f"{each.port.name}: {each.heard.identity} – {each.driver.words} ({each.driver.driver})", err=True)
    for error in failed:
        click.echo(str(error), err=True)
    if failed:
        click.echo("autobench: no bench file is made until every port that was named has its instrument", err=True)
        return 4
    text = bench_text(found, name_for(write), int(mains))
    if write is None:
        click.echo(text, nl=False)
        return 0
    put(write, text)
    click.echo(f"written: {write}; prove it with `autobench prove {write}`", err=True)
    return 0


def plugged_in() -> int:
    """What is plugged in, without opening any of it."""
    from autobench.documents.words import printable
    from autobench.instruments.plugged_in import serial_ports, usb_instruments

    there = [f"{each.path}  {printable(each.words)}" for each in serial_ports()]
    there += [f"{each.address}::INSTR  USB instrument" for each in usb_instruments()]
    for line in there or ["no serial port and no USB instrument is plugged in"]:
        click.echo(line)
    click.echo("nothing was opened; name those that are instruments: autobench find PORT…", err=True)
    return 0


def name_for(write: Path | None) -> str:
    """The bench's name: that of its file."""
    name = "".join(character if character.isalnum() else "-" for character in write.stem) if write is not None else ""
    return name.strip("-") or "found"


def put(path: Path, text: str) -> None:
    """Write a new file, and never over one that came meanwhile."""
    try:
        with open(path, "x", encoding="utf-8") as stream:
            stream.write(text)
    except OSError as error:
        raise UsageError(f"--write: {path} cannot be written: {error.strerror}") from error
