"""The command `redo`."""

from __future__ import annotations

from collections import deque
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from canopy.cli.options import Farm, SettingsFile, StorePlace, Trays

if TYPE_CHECKING:
    from canopy.nightly.redo import Changed, Redone


def redo(
    since: Annotated[
        datetime, typer.Option(formats=["%Y-%m-%d"], help="First day on which the photos were taken.", metavar="DATE")
    ],
    folder: Farm = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Count what is due; change nothing.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(help="Also write every value that changed: .csv, .parquet or .xlsx.", show_default=False),
    ] = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    workers: Annotated[
        int, typer.Option(min=0, help="Processes that read photos; 0: as many as there are processor cores.")
    ] = 1,
) -> None:
    """Make readings anew after a change of recipes, settings, tray list or version, and show what changed.

    New readings are added and count from then on; old ones stay in the store. Photos that are gone keep their readings.

    Exit code: 0 all good, 1 some photos are gone or were set aside, 2 usage, settings or store wrong.
    """
    from canopy.nightly.farm import find_farm
    from canopy.nightly.redo import CHANGE_COLUMNS, Redone, count_due
    from canopy.nightly.redo import redo as make_anew
    from canopy.outputs.export import write_table
    from canopy.outputs.words import counted

    farm = find_farm(folder, store=store, trays=trays, settings=settings)
    if dry_run:
        done = count_due(farm, since=since.date())
        typer.echo(f"{counted(done.due, 'reading')} to be made anew, {done.as_made} by the rules of today.")
        raise typer.Exit(_told(done))
    done = Redone()
    changes = (_shown(one) for one in make_anew(farm, done, since=since.date(), workers=workers))
    if out is None:
        deque(changes, maxlen=0)
    else:
        digits = farm.settings.outputs.significant_digits
        write_table(out, (one.rows for one in changes), columns=CHANGE_COLUMNS, significant_digits=digits)
    code = _told(done)
    typer.echo(
        f"{counted(done.made, 'reading')} made anew, {done.changed} changed, {done.made - done.changed} the same; "
        f"{done.as_made} by the rules of today already."
    )
    raise typer.Exit(code)


def _told(done: Redone) -> int:
    """Say what stays as it was; the exit code comes back."""
    for path in done.gone:
        typer.echo(f"gone, its reading stays: {path}", err=True)
    for aside in done.set_aside:
        typer.echo(f"set aside, its earlier reading stays: {aside.message}", err=True)
    return done.exit_code


def _shown(one: Changed) -> Changed:
    if len(one.rows):
        typer.echo(_line(one))
    return one


def _line(one: Changed) -> str:
    """What changed in one reading, in one line."""
    from canopy.outputs.words import counted

    parts = [f"{counted(len(one.rows), 'value')} of {counted(one.rows['cell'].nunique(), 'cell')}"]
    parts += [f"{was or 'none'} → {now or 'none'} {count}" for (was, now), count in one.decided.items()]
    for name, (before, after) in (("readiness", one.readiness), ("area_mm2", one.area_mm2)):
        if before != after and not (before != before and after != after):
            parts.append(f"mean {name} {before:.4g} → {after:.4g}")
    return f"{one.tray} ({one.photo}): {', '.join(parts)}"
