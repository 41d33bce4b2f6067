"""`autobench off`: every output of a bench off, proved. Words to a call, nothing more."""

from __future__ import annotations

import click


@click.command()
@click.option("--bench", metavar="FILE", help="Bench file (default: the simulated bench).")
def off(bench: str | None) -> int:
    """Switch every output of the bench off, and prove it by measurement."""
    from autobench import app

    for line in app.switch_off(bench):
        click.echo(line)
    return 0
