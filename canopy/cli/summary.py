"""What `score` says at the end: what was set aside, where the report is, the top picks."""

from __future__ import annotations

import json
from dataclasses import asdict

import typer

from canopy.batch.score import Run
from canopy.outputs.words import counted
from canopy.reasons import REASONS


def print_words(run: Run) -> None:
    """Print the summary for people; doubts and set-aside photos go to standard error."""
    for problem in run.problems:
        typer.echo(f"canopy: {problem}", err=True)
    for aside in run.set_aside:
        if aside.message not in run.problems:
            typer.echo(f"set aside: {aside.message}", err=True)
    total = run.photos_read + len(run.set_aside)
    typer.echo(f"{run.photos_read} of {counted(total, 'photo')} read, {counted(run.picks, 'plant')} to pick.")
    if run.top_picks:
        typer.echo("Top picks:")
    for pick in run.top_picks:
        typer.echo(f"  {pick['tray']} {pick['cell']}: {pick['decision']}, readiness {pick['readiness']:.0f}")
    typer.echo(f"Report: {run.report}")


def print_json(run: Run) -> None:
    """Print the summary as one JSON object."""
    set_aside = [{**asdict(aside), "advice": REASONS[aside.code].advice} for aside in run.set_aside]
    data = {
        "out": str(run.out),
        "report": str(run.report),
        "photos_read": run.photos_read,
        "photos_set_aside": len(run.set_aside),
        "set_aside": set_aside,
        "problems": list(run.problems),
        "picks": run.picks,
        "top_picks": run.top_picks,
        "exit_code": run.exit_code,
    }
    typer.echo(json.dumps(data))
