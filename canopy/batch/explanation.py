"""Why one cell of one photo got its decision: the photo is worked through and the cell's sum written out."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from canopy.analyse import Worked
from canopy.batch.job import Job, SetAside
from canopy.batch.plan import make_plan
from canopy.batch.work import Worker
from canopy.errors import PhotoError, UsageError
from canopy.outputs.words import cell_facts
from canopy.readiness import explain_cell
from canopy.records import cell_name


@dataclass(frozen=True)
class Explanation:
    """The sum of one cell.

    Attributes
    ----------
    photo, tray, cell : str
    decision : str or None
    readiness : float or None
    lines : list of str
        The way to the decision, step by step.
    """

    photo: str
    tray: str
    cell: str
    decision: str | None
    readiness: float | None
    lines: list[str]

    def as_json(self) -> str:
        """The same as one JSON object."""
        return json.dumps(asdict(self))


def explain_photo(
    photo: Path, cell: str, *, tray: str | None = None, trays: Path | None, settings: Path | None
) -> Explanation:
    """Explain one cell.

    Raises
    ------
    PhotoError
        The photo gives no reading.
    UsageError
        The tray has no such cell, or a file cannot be used.
    """
    plan = make_plan([photo], trays=trays, settings=settings)
    meant = [job for job in plan.jobs if tray in (None, job.record.tray if isinstance(job, Job) else job.tray)]
    if len(meant) != 1:
        named = ", ".join(job.record.tray if isinstance(job, Job) else job.tray for job in plan.jobs)
        raise UsageError(f"{photo}: the tray list names {named} for it; say which one with --tray")
    job = meant[0]
    if isinstance(job, SetAside):
        raise (UsageError(job.message) if plan.problems else PhotoError(job.code, job.message))
    wanted = cell.strip().upper()
    worker = Worker(plan.configuration.settings, None)
    worked = worker.work_through(job)
    layout = worked.tray.layout
    if wanted not in layout.names():
        last = cell_name(layout.rows, layout.columns)
        raise UsageError(f"cell `{cell}`: tray {job.record.tray} has cells A1 to {last} only")
    return _explained(worked, job, wanted, worker)


def _explained(worked: Worked, job: Job, cell: str, worker: Worker) -> Explanation:
    reading = worked.reading
    row = reading.cells[reading.cells["cell"] == cell].iloc[0]
    if job.recipe is None:
        facts = cell_facts(row.to_dict(), clearance_mm=None) or "nothing to measure"
        lines = [f"Cell {cell}: {row['state']}. {facts}.", "Not scored: the tray list names no crop for this tray."]
    else:
        lines = explain_cell(
            row,
            reading.criteria[reading.criteria["cell"] == cell],
            job.recipe,
            treatments=job.record.treatments,
            taken_at=worked.photo.taken_at,
            settings=worker.settings.readiness,
        )
    decision = row["decision"] if isinstance(row["decision"], str) else None
    readiness = float(row["readiness"]) if row["readiness"] == row["readiness"] else None
    return Explanation(reading.photo, reading.tray, cell, decision, readiness, lines)
