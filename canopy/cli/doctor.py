"""The command `doctor`."""

from __future__ import annotations

import typer

from canopy.cli.options import Farm, Json, SettingsFile, StorePlace, Trays

_MARKS = {"good": "good", "look": "LOOK", "bad": "BAD "}


def doctor(
    folder: Farm = None,
    store: StorePlace = None,
    trays: Trays = None,
    settings: SettingsFile = None,
    json: Json = False,
) -> None:
    """Look for what may keep the nightly passes from going well.

    Tray list, rights of the photos, store, disk, clock, fonts, messages, files to be written, cameras that have fallen
    silent. Changes nothing. Run it as the user that runs the passes.

    Exit code: 0 all good, 1 something is to be looked at, 2 passes fail or the settings cannot be used.
    """
    import json as as_json
    import time
    from dataclasses import asdict

    from canopy.nightly.doctor import examine
    from canopy.nightly.farm import find_farm

    farm = find_farm(folder, store=store, trays=trays, settings=settings)
    found = examine(farm, now_ns=time.time_ns())
    levels = {finding.level for finding in found}
    code = 2 if "bad" in levels else int("look" in levels)
    if json:
        typer.echo(as_json.dumps({"findings": [asdict(finding) for finding in found], "exit_code": code}))
    else:
        for finding in found:
            typer.echo(f"{_MARKS[finding.level]}  {finding.what}: {finding.said}")
    raise typer.Exit(code)
