"""`autobench prove BENCH`: is this bench what its file says. Words to a call, the outcome to output and exit code."""

from __future__ import annotations

import sys
from contextlib import nullcontext

import click


@click.command()
@click.argument("bench")
@click.option(
    "--records", metavar="URL", help="Where to keep the record (default: records.sqlite in your data folder)."
)
@click.option("--operator", metavar="TEXT", help="Who does this, for the record.")
@click.option("--silent", is_flag=True, help="No bell.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
@click.option("--fault", "faults", metavar="NAME[@PART]", multiple=True, help="Simulated bench: a fault of the bench.")
@click.option("--seed", metavar="N", type=int, default=None, help="Simulated bench: which one (default 0).")
def prove(
    bench: str,
    records: str | None,
    operator: str | None,
    silent: bool,
    as_json: bool,
    faults: tuple[str, ...],
    seed: int | None,
) -> int:
    """Prove that a BENCH (a name, or a bench file) is what its file says, without a board.

    Each instrument speaks its dialect; each relay opens and closes, by measurement; each supply in the reference plug
    gives a safe level the right way round, and OFF is off; each channel of the scope shows that level on two ranges at
    two offsets as the meter does. The result is kept; what it says of the scope's accuracy counts in later rounds.

    Exit code: 0 proved; 3 something could not be measured; 4 the bench is not what its file says; 2 a word or a file is
    wrong.
    """
    from autobench import app
    from autobench.cli.keyboard import Keyboard
    from autobench.cli.run_options import exit_code, print_document
    from autobench.views.terminal import Terminal

    with Terminal(sys.stderr, bell=not silent) as terminal:
        somebody = Keyboard(sys.stdin, aside=terminal.aside) if sys.stdin.isatty() else nullcontext()
        with somebody as keys:
            state = app.prove(
                bench,
                app.Simulation(faults=faults, seed=seed),
                [terminal.show],
                records=records,
                operator=operator,
                keys=keys,
            )
    if as_json:
        print_document(state)
    return exit_code(state)
