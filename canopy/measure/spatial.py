"""Where in the tray plants differ: autocorrelation, rim, rows and columns, gradient.

All functions take the (rows, columns) grid of one measurement, NaN where a cell has no value. Missing cells drop out
together with their neighbour links. On staggered trays, cells count as neighbours by row and column number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from canopy.measure.medians import row_medians

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
_T = TypeVar("_T", bound=np.generic)

_MAX_PERMUTED = 2_000_000  # values held at once while permuting: 16 MB, so that a raft of 40,000 cells fits as well


@dataclass(frozen=True)
class Autocorrelation:
    """Moran's I with its moments under randomisation.

    Attributes
    ----------
    i : float
        Moran's I; NaN when fewer than 4 values, no links or no variance.
    expected : float
        −1/(n − 1).
    variance : float
        Under randomisation (Cliff & Ord 1981).
    p : float
        One-sided permutation p (1 + #{I* ≥ I})/(1 + B); NaN when not asked for or I is NaN.
    """

    i: float
    expected: float
    variance: float
    p: float


@dataclass(frozen=True)
class EdgeEffect:
    """Cells of the outer rows and columns against the inner ones.

    Attributes
    ----------
    effect : float
        mean(rim)/mean(inner) − 1: −0.2 = rim plants 20 % smaller. NaN when there is no inner cell with a value.
    t, p : float
        Welch's t of rim minus inner and its two-sided p; NaN with fewer than 2 values on a side or no variance.
    """

    effect: float
    t: float
    p: float


@dataclass(frozen=True)
class Trend:
    """Plane value ≈ intercept + per_row·row + per_column·column (least squares, rows and columns counted from 1).

    Attributes
    ----------
    intercept, per_row, per_column : float
        A slope is 0 along an axis of one row or column; all NaN when too few values.
    r2 : float
        Share of variance explained, 0..1.
    """

    intercept: float
    per_row: float
    per_column: float
    r2: float


def moran_i(grid: FloatArray, *, queen: bool = False, permutations: int = 0, seed: int = 0) -> Autocorrelation:
    """Moran's I (1950, Biometrika 37:17) with binary weights.

    Parameters
    ----------
    grid : (rows, columns) float array
    queen : bool
        False: neighbours share a side (rook); True: corners count too.
    permutations : int
        0: no p. Values are permuted among the cells that have one.
    seed : int
        Same grid and seed, same p.
    """
    present = ~np.isnan(grid)
    n = int(present.sum())
    links = sum(int((a & b).sum()) for a, b in _neighbours(present, queen=queen))
    if n < 4 or links == 0:
        return Autocorrelation(math.nan, math.nan, math.nan, math.nan)
    z = np.where(present, grid, 0.0)
    # A missing cell holds 0 = the mean, so that its products vanish.
    z = np.where(present, z - z[present].mean(), 0.0)
    squares = float((z**2).sum())
    if _all_equal(grid[present], squares):
        return Autocorrelation(math.nan, -1 / (n - 1), math.nan, math.nan)
    cross = _cross_products(z[None], queen=queen)[0]
    variance = _variance_randomised(z[present], present, links, queen=queen)
    p = _permutation_p(z, present, cross, queen=queen, permutations=permutations, seed=seed)
    return Autocorrelation(float(n / links * cross / squares), -1 / (n - 1), variance, p)


def geary_c(grid: FloatArray, *, queen: bool = False) -> float:
    """Geary's C (1954) with binary weights: 1 = no pattern, below 1 = neighbours alike; NaN as for Moran's I."""
    present = ~np.isnan(grid)
    n = int(present.sum())
    pairs = list(zip(_neighbours(present, queen=queen), _neighbours(grid, queen=queen), strict=True))
    links = sum(int((a & b).sum()) for (a, b), _ in pairs)
    squares = float(np.nansum((grid - grid[present].mean()) ** 2)) if n else 0.0
    if n < 4 or links == 0 or _all_equal(grid[present], squares):
        return math.nan
    differences = sum(float(((x - y)[a & b] ** 2).sum()) for (a, b), (x, y) in pairs)
    return (n - 1) * differences / (2 * links * squares)


def edge_effect(grid: FloatArray) -> EdgeEffect:
    """Mean of the rim over the mean of the inner cells, minus 1, with Welch's t test."""
    from scipy.special import stdtr  # here: scipy loads slowly and most commands never need it

    rim_mask = rim(grid.shape)
    outer, inner = grid[rim_mask], grid[~rim_mask]
    outer, inner = outer[~np.isnan(outer)], inner[~np.isnan(inner)]
    if outer.size == 0 or inner.size == 0 or inner.mean() == 0:
        return EdgeEffect(math.nan, math.nan, math.nan)
    effect = float(outer.mean() / inner.mean() - 1)
    if outer.size < 2 or inner.size < 2:
        return EdgeEffect(effect, math.nan, math.nan)
    part_outer, part_inner = outer.var(ddof=1) / outer.size, inner.var(ddof=1) / inner.size
    if part_outer + part_inner == 0:
        return EdgeEffect(effect, math.nan, math.nan)
    t = (outer.mean() - inner.mean()) / math.sqrt(part_outer + part_inner)
    # Welch–Satterthwaite degrees of freedom.
    df = (part_outer + part_inner) ** 2 / (part_outer**2 / (outer.size - 1) + part_inner**2 / (inner.size - 1))
    return EdgeEffect(effect, float(t), float(2 * stdtr(df, -abs(t))))


def rim(shape: tuple[int, ...]) -> BoolArray:
    """True for the cells of the outermost rows and columns."""
    mask = np.ones(shape, dtype=bool)
    mask[1:-1, 1:-1] = False
    return mask


def median_polish(grid: FloatArray, *, sweeps: int = 20) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """Median polish, rows first (Tukey 1977): value = overall + row effect + column effect + residual.

    Parameters
    ----------
    grid : (rows, columns) float array
    sweeps : int
        Most sweeps over rows and columns; it ends earlier when nothing changes.

    Returns
    -------
    overall : float
        NaN when the grid holds no value.
    rows, columns : (rows,), (columns,) float arrays
        Effects; NaN for a row or column without a value. One odd cell does not move them.
    residuals : (rows, columns) float array
        NaN where the value is missing.
    """
    residuals = np.array(grid, dtype=np.float64)
    overall, rows, columns = 0.0, np.zeros(grid.shape[0]), np.zeros(grid.shape[1])
    if np.isnan(residuals).all():
        return math.nan, np.full(rows.size, np.nan), np.full(columns.size, np.nan), residuals
    for _ in range(sweeps):
        row_step = row_medians(residuals)
        residuals -= row_step[:, None]
        rows += row_step
        column_centre = float(row_medians(columns[None])[0])
        columns -= column_centre
        column_step = row_medians(residuals.T)
        residuals -= column_step
        columns += column_step
        row_centre = float(row_medians(rows[None])[0])
        rows -= row_centre
        overall += column_centre + row_centre
        if not (np.any(np.nan_to_num(row_step)) or np.any(np.nan_to_num(column_step))):
            break
    return overall, rows, columns, residuals


def linear_trend(grid: FloatArray) -> Trend:
    """Least-squares plane through the values over row and column numbers."""
    row, column = np.nonzero(~np.isnan(grid))
    y = grid[row, column]
    if y.size < 4 or np.ptp(y) == 0:
        return Trend(math.nan, math.nan, math.nan, math.nan)
    # Least norm on centred axes: an axis of one row or column gets the slope 0.
    design = np.stack([row - row.mean(), column - column.mean()], axis=1)
    slopes, *_ = np.linalg.lstsq(design, y - y.mean(), rcond=None)
    explained = float(((design @ slopes) ** 2).sum() / ((y - y.mean()) ** 2).sum())
    intercept = y.mean() - slopes @ (row.mean() + 1, column.mean() + 1)
    return Trend(float(intercept), float(slopes[0]), float(slopes[1]), explained)


def _all_equal(values: FloatArray, squares: float) -> bool:
    """True when values differ in their last bits at most, so that a variance of theirs would be rounding."""
    return squares <= values.size * (1e-12 * float(np.abs(values).max())) ** 2


def _neighbours(grid: NDArray[_T], *, queen: bool) -> list[tuple[NDArray[_T], NDArray[_T]]]:
    """Both ends of every link, as equal-shaped views of the last two axes."""
    pairs = [(grid[..., :, :-1], grid[..., :, 1:]), (grid[..., :-1, :], grid[..., 1:, :])]
    if queen:
        pairs += [(grid[..., :-1, :-1], grid[..., 1:, 1:]), (grid[..., :-1, 1:], grid[..., 1:, :-1])]
    return pairs


def _cross_products(z: FloatArray, *, queen: bool) -> FloatArray:
    return np.asarray(np.sum([np.einsum("bij,bij->b", a, b) for a, b in _neighbours(z, queen=queen)], axis=0))


def _permutation_p(
    z: FloatArray, present: BoolArray, cross: float, *, queen: bool, permutations: int, seed: int
) -> float:
    if permutations == 0:
        return math.nan
    rng = np.random.default_rng(seed)
    values = z[present]
    cells = np.flatnonzero(present)
    reached, done = 0, 0
    while done < permutations:
        batch = min(permutations - done, max(1, _MAX_PERMUTED // z.size))
        shuffled = np.zeros((batch, z.size))
        shuffled[:, cells] = rng.permuted(np.broadcast_to(values, (batch, values.size)), axis=1)
        sums = _cross_products(shuffled.reshape(batch, *z.shape), queen=queen)
        # The same arrangement summed in another order may differ in the last bits and still counts as reached.
        reached += int((sums >= cross - 1e-9 * abs(cross)).sum())
        done += batch
    return (1 + reached) / (1 + permutations)


def _variance_randomised(z: FloatArray, present: BoolArray, links: int, *, queen: bool) -> float:
    """Variance of I under randomisation (Cliff & Ord 1981, eq. 2.11) for symmetric binary weights."""
    n = z.size
    degree = np.zeros(present.shape)
    for (a, b), (to_a, to_b) in zip(_neighbours(present, queen=queen), _neighbours(degree, queen=queen), strict=True):
        both = a & b
        to_a += both
        to_b += both
    s0, s1, s2 = 2.0 * links, 4.0 * links, 4.0 * float((degree[present] ** 2).sum())
    kurtosis = float(n * (z**4).sum() / (z**2).sum() ** 2)
    first = n * ((n**2 - 3 * n + 3) * s1 - n * s2 + 3 * s0**2)
    second = kurtosis * ((n**2 - n) * s1 - 2 * n * s2 + 6 * s0**2)
    return (first - second) / ((n - 1) * (n - 2) * (n - 3) * s0**2) - 1 / (n - 1) ** 2
