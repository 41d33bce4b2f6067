"""`autobench report RUN`: the report of a run in the record as one HTML file. Words to a call, nothing more."""

from __future__ import annotations

from pathlib import Path

import click

from autobench.cli.history import RECORDS, open_record


@click.command()
@click.argument("run")
@click.option("--to", "target", metavar="FILE.html", type=click.Path(path_type=Path), help="Default: RUN.html here.")
@RECORDS
def report(run: str, target: Path | None, records: str | None) -> int:
    """Write the report of RUN (`last`, or the beginning of its name) as one HTML file."""
    from autobench.record.history import find_run
    from autobench.views.recorded_report import write_recorded_report

    with open_record(records) as engine:
        row = find_run(engine, run)
        path = target or Path(f"{row.run}.html")
        write_recorded_report(engine, row, path)
    click.echo(f"written: {path}")
    return 0
