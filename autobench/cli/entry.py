"""The command line as a whole: the group of commands, and errors to exit codes. Commands live in their own modules.

Nothing heavy is imported here or at the top of a command module, so that `--help` is quick.
"""

from __future__ import annotations

import sys

import click

from autobench import __version__
from autobench.cli.check import check
from autobench.cli.find import find
from autobench.cli.history import compare, export, history, repair, show
from autobench.cli.investigate import investigate
from autobench.cli.lint import lint
from autobench.cli.listing import list_group
from autobench.cli.measure import measure
from autobench.cli.new import new
from autobench.cli.off import off
from autobench.cli.plan import plan
from autobench.cli.prove import prove
from autobench.cli.rehearse import rehearse
from autobench.cli.report import report
from autobench.cli.schema import schema
from autobench.cli.simulate import simulate
from autobench.errors import AutobenchError, FileError

SAFETY = (
    "Low-voltage board work only. This program switches a bench supply and reads instruments; it is no substitute for "
    "training or for the rules that apply where you work."
)


@click.group(epilog=SAFETY, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, "--version", prog_name="autobench")
def autobench() -> None:
    """Check an 8-bit computer board from power to CPU, in order, and say what to look at next."""


autobench.add_command(check)
autobench.add_command(investigate)
autobench.add_command(measure)
autobench.add_command(rehearse)
autobench.add_command(list_group)
autobench.add_command(lint)
autobench.add_command(plan)
autobench.add_command(new)
autobench.add_command(schema)
autobench.add_command(off)
autobench.add_command(simulate)
autobench.add_command(find)
autobench.add_command(prove)
for command in (history, show, repair, compare, export, report):
    autobench.add_command(command)


def run(arguments: list[str]) -> int:
    """Run one command line; returns the exit code. Lets foreign exceptions and Ctrl-C through to the entry point."""
    try:
        code = autobench.main(arguments, prog_name="autobench", standalone_mode=False)
    except click.Abort:
        click.echo("autobench: stopped", err=True)
        return 4
    except click.ClickException as error:
        error.show(sys.stderr)
        return 2
    except FileError as error:
        count = len(error.mistakes)
        click.echo(
            f"{in_sight(error)}\nautobench: {count} mistake{'s' if count != 1 else ''}; nothing was switched on",
            err=True,
        )
        return error.exit_code
    except AutobenchError as error:
        click.echo(f"autobench: {in_sight(error)}", err=True)
        return error.exit_code
    return code if isinstance(code, int) else 0


def in_sight(error: Exception) -> str:
    """The words of an error, whatever was quoted in them: nothing in it may give the terminal orders."""
    from autobench.documents.words import printable

    return "\n".join(printable(line) for line in str(error).split("\n"))
