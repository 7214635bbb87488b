"""The command `simulate`."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Annotated

import typer

from canopy.cli.options import Json
from canopy.errors import UsageError, did_you_mean

# An invented morning: pictures must not change with the day they are drawn on.
FIRST_TAKEN_AT = datetime(2026, 5, 4, 6, 30, tzinfo=timezone(timedelta(hours=2)))
LEAST_SIDE_PX, LARGEST_SIDE_PX = 64, 12_000


def simulate(
    out: Annotated[
        Path | None, typer.Option(help="Folder for the pictures and tables; made when absent.", show_default=False)
    ] = None,
    kind: Annotated[
        list[str] | None,
        typer.Option(
            help="Kind of scene, see --list; may be given several times.", metavar="KIND", show_default="plain"
        ),
    ] = None,
    kinds: Annotated[bool, typer.Option("--kinds", help="Draw every kind of scene.")] = False,
    count: Annotated[int, typer.Option(help="Trays of each kind.")] = 1,
    seed: Annotated[int, typer.Option(help="Seed of the first tray; the next ones count on.")] = 1,
    width: Annotated[int, typer.Option(help="Width of the pictures in pixels.")] = 4000,
    height: Annotated[int, typer.Option(help="Height of the pictures in pixels.")] = 3000,
    days: Annotated[int, typer.Option(help="Photos of each tray, a day apart, while it grows.")] = 1,
    list_: Annotated[bool, typer.Option("--list", help="List the kinds of scenes and stop.")] = False,
    json: Json = False,
) -> None:
    """Draw photos of invented trays whose truth is known.

    Writes JPEG photos, masks of their plants, trays.csv to score them by, and truth.csv with the area, height and
    damage of every cell. The same seed draws the same bytes.
    """
    if list_:
        _list_kinds(as_json=json)
        return
    if out is None:
        raise UsageError("--out: is missing; name a folder for the pictures")
    wanted = _checked_kinds(kind or [], every=kinds)
    _check_numbers(count=count, seed=seed, width=width, height=height, days=days)
    _check_folder(out)
    _draw(out, wanted, count=count, seed=seed, size_px=(width, height), days=days, as_json=json)


def _draw(
    out: Path, kinds: Sequence[str], *, count: int, seed: int, size_px: tuple[int, int], days: int, as_json: bool
) -> None:
    from canopy.cli.columns import one_json
    from canopy.readiness import known_recipes
    from canopy.synthetic.simulate import simulate as draw

    photos = draw(
        out,
        kinds,
        count=count,
        seed=seed,
        width_px=size_px[0],
        height_px=size_px[1],
        days=days,
        first_taken_at=FIRST_TAKEN_AT,
        recipes=known_recipes(),
    )
    written = []
    try:
        for photo in photos:
            written.append(photo.name)
            if not as_json:
                typer.echo(f"Written: {photo}")
    except OSError as error:
        raise UsageError(f"{out}: cannot be written ({error.strerror}); choose another --out") from None
    if as_json:
        typer.echo(one_json("photos", written))
        return
    typer.echo(f"Written: {out / 'trays.csv'}, {out / 'truth.csv'} and masks/")
    typer.echo(f"Score them: canopy score {out} --out results")


def _list_kinds(*, as_json: bool) -> None:
    from canopy.cli.columns import in_columns, one_json
    from canopy.synthetic.kinds import DESCRIPTIONS, KINDS

    if as_json:
        typer.echo(one_json("kinds", [{"kind": kind, "what": DESCRIPTIONS[kind]} for kind in KINDS]))
        return
    typer.echo(in_columns(("kind", "what it shows"), [(kind, DESCRIPTIONS[kind]) for kind in KINDS]))


def _checked_kinds(named: Sequence[str], *, every: bool) -> Sequence[str]:
    """Kinds to draw, each once."""

    from canopy.synthetic.kinds import KINDS

    if every and named:
        raise UsageError("--kinds: draws every kind; leave --kind or --kinds away")
    for kind in named:
        if kind not in KINDS:
            hint = did_you_mean(kind, KINDS, after=" ")
            raise UsageError(f"--kind: `{kind}` is not known; {hint}`canopy simulate --list` shows all kinds")
    return KINDS if every else tuple(dict.fromkeys(named)) or ("plain",)


def _check_numbers(*, count: int, seed: int, width: int, height: int, days: int) -> None:
    for option, value in (("--count", count), ("--days", days)):
        if value < 1:
            raise UsageError(f"{option}: is {value}; give 1 or more")
    if seed < 0:
        raise UsageError(f"--seed: is {seed}; give 0 or more")
    for option, value in (("--width", width), ("--height", height)):
        if not LEAST_SIDE_PX <= value <= LARGEST_SIDE_PX:
            raise UsageError(f"{option}: is {value}; give {LEAST_SIDE_PX} to {LARGEST_SIDE_PX} pixels")


def _check_folder(out: Path) -> None:
    """Refuse to write over a tray list that someone typed: drawn ones have their truth beside them."""
    if (out / "trays.csv").exists() and not (out / "truth.csv").exists():
        raise UsageError(f"{out / 'trays.csv'}: is there already and was not drawn; choose another --out")
