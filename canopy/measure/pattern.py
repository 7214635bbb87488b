"""The pattern across a tray in plain words: which rows, columns, rim or side differ, or nothing worth naming."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.measure.evenness import two_sizes
from canopy.measure.spatial import edge_effect, linear_trend, median_polish, rim
from canopy.records import cell_name
from canopy.settings.measure import PatternSettings

FloatArray = NDArray[np.float64]

NO_PATTERN = "no pattern"
TOO_FEW = "too few plants to tell"


@dataclass(frozen=True)
class Explanation:
    """How far one simple account of a tray explains the variance between its cells.

    Attributes
    ----------
    kind : str
        `rows`, `columns`, `edge` (rim against inside) or `gradient` (a plane).
    share : float
        Part of the variance, 0..1, adjusted for the means or slopes spent, 1 − (1 − R²)(n − 1)/(n − k), so that chance
        gives about 0 whatever the number of rows; below 0 is told as 0.
    p : float
        Of the F test against a tray without that account.
    """

    kind: str
    share: float
    p: float


def explanations(grid: FloatArray) -> tuple[Explanation, ...]:
    """Accounts that are possible for a (rows, columns) grid, NaN where missing; none for one row, no inner cell, …."""
    row, column = np.nonzero(~np.isnan(grid))
    y = grid[row, column]
    slopes = (grid.shape[0] > 1) + (grid.shape[1] > 1)
    fits = {
        "rows": _group_fit(y, row),
        "columns": _group_fit(y, column),
        "edge": _group_fit(y, rim(grid.shape)[row, column].astype(np.intp)),
        "gradient": (linear_trend(grid).r2, 1 + slopes),
    }
    return tuple(
        _explanation(kind, r2, n=y.size, parameters=parameters)
        for kind, (r2, parameters) in fits.items()
        if not math.isnan(r2) and y.size > parameters > 1
    )


def describe_pattern(grid: FloatArray, *, moran_p: float, settings: PatternSettings) -> str:
    """Name the pattern of a tray.

    Parameters
    ----------
    grid : (rows, columns) float array
        Plant area (any unit), NaN for cells without a plant.
    moran_p : float
        Permutation p of Moran's I of the same grid; NaN counts as no sign of a pattern.
    settings : PatternSettings

    Returns
    -------
    str
        `no pattern`; `row C weak`, `columns 10–12 weak` (or `strong`); `edge weak`; `gradient towards column 12`
        (plants get smaller that way); `late germination in patches`, `late germination here and there`; `patches`;
        `too few plants to tell`. It names a place, never a cause.
    """
    values = grid[~np.isnan(grid)]
    if values.size < settings.min_plants:
        return TOO_FEW
    clustered = moran_p <= settings.significance
    accounts = [e for e in explanations(grid) if e.share >= settings.share_min and e.p <= settings.account_p_max]
    if accounts:
        best = max(accounts, key=lambda e: e.share)
        # Rows or columns always explain a gradient along them too: the simpler account is preferred.
        for account in accounts:
            if account.kind == "gradient" and account.share >= settings.gradient_preference * best.share:
                best = account
        return _name(best.kind, grid, settings=settings)
    if _late_germination(values, settings=settings):
        return "late germination in patches" if clustered else "late germination here and there"
    return "patches" if clustered else NO_PATTERN


def _name(kind: str, grid: FloatArray, *, settings: PatternSettings) -> str:
    if kind == "gradient":
        return _gradient_text(grid)
    if kind == "edge":
        return "edge weak" if edge_effect(grid).effect < 0 else "edge strong"
    overall, rows, columns, _ = median_polish(grid)
    if kind == "rows":
        names = [cell_name(r + 1, 1)[:-1] for r in range(grid.shape[0])]
        return _strips_text("row", names, rows / overall, settings=settings)
    names = [str(c + 1) for c in range(grid.shape[1])]
    return _strips_text("column", names, columns / overall, settings=settings)


def _strips_text(word: str, names: list[str], effects: FloatArray, *, settings: PatternSettings) -> str:
    """`rows B–C weak`: the strips that lie clearly below the middle, else those above, else the weakest."""
    effects = np.nan_to_num(effects)
    for sign, quality in ((-1, "weak"), (1, "strong")):
        odd = np.flatnonzero(sign * effects >= settings.weak_effect)
        if odd.size:
            return f"{word}{'s' if odd.size > 1 else ''} {_ranges(odd, names)} {quality}"
    return f"{word} {names[int(np.argmin(effects))]} weak"


def _ranges(indices: NDArray[np.intp], names: list[str]) -> str:
    """`2, 10–12`: neighbouring strips joined."""
    runs = np.split(indices, np.flatnonzero(np.diff(indices) > 1) + 1)
    return ", ".join(names[r[0]] if r.size == 1 else f"{names[r[0]]}–{names[r[-1]]}" for r in runs)


def _gradient_text(grid: FloatArray) -> str:
    """The side (or corner, when both directions matter) towards which plants get smaller."""
    trend = linear_trend(grid)
    # Change over the whole tray, so that long and short sides compare.
    down, across = trend.per_row * (grid.shape[0] - 1), trend.per_column * (grid.shape[1] - 1)
    row = grid.shape[0] if down < 0 else 1
    column = grid.shape[1] if across < 0 else 1
    if abs(across) >= 2 * abs(down):
        return f"gradient towards column {column}"
    if abs(down) >= 2 * abs(across):
        return f"gradient towards row {cell_name(row, 1)[:-1]}"
    return f"gradient towards corner {cell_name(row, column)}"


def _late_germination(values: FloatArray, *, settings: PatternSettings) -> bool:
    """Two clearly separate sizes, the smaller ones a minority."""
    share, small = two_sizes(np.log(values[values > 0]))
    return bool(share >= settings.cluster_share_min and settings.cluster_size_min <= small <= 0.5)


def _group_fit(y: FloatArray, group: NDArray[np.intp]) -> tuple[float, int]:
    """R² of the group means and their number; NaN without variance."""
    counts = np.bincount(group)
    total = float(((y - y.mean()) ** 2).sum()) if y.size else 0.0
    if total == 0:
        return math.nan, 0
    sums = np.bincount(group, weights=y - y.mean())[counts > 0]
    return float((sums**2 / counts[counts > 0]).sum()) / total, int((counts > 0).sum())


def _explanation(kind: str, r2: float, *, n: int, parameters: int) -> Explanation:
    from scipy.special import betainc  # here: scipy loads slowly and most commands never need it

    unexplained = min(max(1 - r2, 0.0), 1.0)
    share = max(0.0, 1 - unexplained * (n - 1) / (n - parameters))
    # Tail of F(k − 1, n − k) in terms of 1 − R², which stays finite for a perfect fit.
    return Explanation(kind, share, float(betainc((n - parameters) / 2, (parameters - 1) / 2, unexplained)))
