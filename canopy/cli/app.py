"""Joins the commands; imports nothing heavy, so that help and completion come at once."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from canopy import __version__
from canopy.cli.crops import crops
from canopy.cli.doctor import doctor
from canopy.cli.explain import explain
from canopy.cli.init import init
from canopy.cli.layouts import layouts
from canopy.cli.learn import learn
from canopy.cli.nightly import nightly
from canopy.cli.outlook import forecast, grow, ready
from canopy.cli.picks import picks
from canopy.cli.plan import plan
from canopy.cli.redo import redo
from canopy.cli.schedule import schedule
from canopy.cli.score import score
from canopy.cli.serve import people, serve
from canopy.cli.sheet import sheet
from canopy.cli.simulate import simulate
from canopy.cli.store import backup, check, export
from canopy.cli.tidy import tidy
from canopy.cli.view import view
from canopy.errors import CanopyError

USAGE_ERROR = 2

# One function a command, named as the command; its docstring is its help.
COMMANDS = (
    score,
    nightly,
    redo,
    ready,
    grow,
    forecast,
    plan,
    picks,
    learn,
    export,
    check,
    backup,
    serve,
    tidy,
    doctor,
    schedule,
    explain,
    layouts,
    crops,
    init,
    simulate,
)

app = typer.Typer(
    name="canopy",
    help="Photos of trays in; leaf area, evenness, a readiness score anyone can recompute, and a pick list out.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for _command in COMMANDS:
    app.command()(_command)
app.add_typer(view, name="view")
app.add_typer(sheet, name="sheet")
app.add_typer(people, name="people")


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"canopy {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    pass


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command; what cannot be used as given ends in one line and exit code 2."""
    try:
        app(args=None if arguments is None else list(arguments), prog_name="canopy")
    except CanopyError as error:
        for line in str(error).splitlines():
            typer.echo(f"canopy: {line}", err=True)
        sys.exit(USAGE_ERROR)
