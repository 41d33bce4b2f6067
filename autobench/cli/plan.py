"""`autobench plan BOARD`: what a round would do, with what, and what it cannot. Words to a request, rows to output."""

from __future__ import annotations

import click

from autobench.cli.run_options import pairs


@click.command()
@click.argument("board")
@click.option("--sequence", metavar="NAME", default="baseline", show_default=True, help="Which round to plan.")
@click.option("--only", metavar="STEP", multiple=True, help="Only these steps, and what they need to be safe.")
@click.option("--with", "fitted", metavar="OPTION=CHOICE", multiple=True, help="An option this board is fitted with.")
@click.option("--bench", metavar="FILE", help="Bench file (default: the simulated bench).")
@click.option("--unattended", is_flag=True, help="As if nobody were there: what needs a hand cannot be done.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document on standard output.")
def plan(
    board: str,
    sequence: str,
    only: tuple[str, ...],
    fitted: tuple[str, ...],
    bench: str | None,
    unattended: bool,
    as_json: bool,
) -> int:
    """Show what a round on BOARD would do: every step with instrument, range, route, limits and time, and what not.

    Nothing is opened and nothing is switched on.
    """
    from autobench.app import CheckRequest, planned
    from autobench.views.plan_text import plan_document, plan_lines
    from autobench.views.wording import harmless

    request = CheckRequest(board, None, pairs(fitted, "--with"), bench, sequence, only, unattended=unattended)
    found = planned(request)
    if as_json:
        import json

        click.echo(json.dumps(plan_document(*found), ensure_ascii=False, indent=2, allow_nan=False))
        return 0
    for line in plan_lines(*found):
        click.echo(harmless(line))
    return 0
