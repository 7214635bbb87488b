"""The curve of one series of sizes by itself, leaning on nothing: for growth tables and long histories."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopy.growth.fit import Data, Solved, solve
from canopy.growth.shapes import SHAPES, Shape, ln_area
from canopy.settings.growth import CurveSettings

FloatArray = NDArray[np.float64]

PARAMETERS = 3


@dataclass(frozen=True)
class SingleCurve:
    """One fitted curve.

    Attributes
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    theta : (3,) float array
        See `canopy.growth.shapes`.
    covariance : (3, 3) float array
        Of theta; infinite where the readings do not determine it.
    sigma : float
        Residual standard deviation (n − 3), in ln size, or in the unit of size where `natural`.
    log_likelihood, aic, bic : float
        Normal deviations, their standard deviation counted as a parameter.
    pinned : bool
        True: the readings determine the final size. False: they do not, and the final size must not be used.
    note : str
        One sentence when not pinned, else empty.
    """

    shape: Shape
    theta: FloatArray
    covariance: FloatArray
    sigma: float
    log_likelihood: float
    aic: float
    bic: float
    pinned: bool
    note: str

    @property
    def final(self) -> float:
        """Final size; NaN when it is not pinned down, and for the expolinear curve, which has none."""
        return math.exp(self.theta[0]) if self.pinned and self.shape != "expolinear" else math.nan

    @property
    def final_se(self) -> float:
        """Standard error of the final size; NaN as `final`."""
        return self.final * math.sqrt(self.covariance[0, 0])


def fit_curve(
    clock: ArrayLike, size: ArrayLike, *, shape: Shape, settings: CurveSettings, natural: bool = False
) -> SingleCurve:
    """Least squares fit of one curve.

    Parameters
    ----------
    clock, size : (n,) array-like of float
        Four readings or more at three or more different times; missing and sizes not above 0 are left out.
    shape : `logistic`, `gompertz` or `expolinear`
    settings : CurveSettings
    natural : bool
        True: deviations of one size all along; False: in proportion to the size (on logarithms).

    Returns
    -------
    SingleCurve

    Raises
    ------
    ValueError
        With too few readings.
    """
    t, y = _usable(clock, size)
    data = _data(t, y, natural=natural)
    best = _best_start(shape, data, settings=settings)
    n, rss = len(t), float(best.loss[0])
    sigma = math.sqrt(rss / (n - PARAMETERS))
    log_likelihood = -0.5 * n * (math.log(2 * math.pi * max(rss, 1e-300) / n) + 1.0)
    covariance = _inverse(best.information[0]) * sigma**2
    sure = math.sqrt(covariance[0, 0])
    pinned = shape == "expolinear" or sure <= settings.pinned_sd
    note = "" if pinned else _unpinned(shape, best.theta[0], float(t.max()), sure)
    k = PARAMETERS + 1
    return SingleCurve(
        shape, best.theta[0], covariance, sigma, log_likelihood,
        2 * k - 2 * log_likelihood, k * math.log(n) - 2 * log_likelihood, pinned, note,
    )  # fmt: skip


def best_curve(
    clock: ArrayLike,
    size: ArrayLike,
    *,
    settings: CurveSettings,
    shapes: Sequence[Shape] = SHAPES,
    natural: bool = False,
) -> tuple[SingleCurve, str]:
    """The shape of least BIC, and one sentence that says how clearly it won.

    Parameters
    ----------
    clock, size, settings, natural : as for `fit_curve`
    shapes : sequence of shape names

    Returns
    -------
    curve : SingleCurve
    said : str
        Such as `logistic; gompertz is 6.2 worse in BIC`.
    """
    fits = [fit_curve(clock, size, shape=shape, settings=settings, natural=natural) for shape in shapes]
    fits.sort(key=lambda fit: fit.bic)
    return fits[0], say_choice({fit.shape: fit.bic for fit in fits}, settings=settings)


def say_choice(bic: dict[Shape, float], *, settings: CurveSettings) -> str:
    """One sentence on which curve was chosen by BIC, and how clearly."""
    order = sorted(bic, key=lambda shape: bic[shape])
    if len(order) == 1:
        return f"{order[0]}, the only curve tried"
    worse = bic[order[1]] - bic[order[0]]
    unclear = "" if worse >= settings.clear_choice else ", so the choice is not clear"
    return f"{order[0]}; {order[1]} is {worse:.1f} worse in BIC{unclear}"


def _usable(clock: ArrayLike, size: ArrayLike) -> tuple[FloatArray, FloatArray]:
    t, y = np.asarray(clock, dtype=float).ravel(), np.asarray(size, dtype=float).ravel()
    keep = np.isfinite(t) & np.isfinite(y) & (np.nan_to_num(y) > 0)
    t, y = t[keep], y[keep]
    if len(t) <= PARAMETERS or len(np.unique(t)) < PARAMETERS:
        raise ValueError(
            f"a growth curve of {PARAMETERS} numbers needs at least {PARAMETERS + 1} sizes above 0 at {PARAMETERS} "
            f"different times, got {len(t)} at {len(np.unique(t))}; add readings or use a fit that leans on the crop"
        )
    return t, y


def _data(t: FloatArray, y: FloatArray, *, natural: bool) -> Data:
    values = y if natural else np.log(y)
    return Data(t[None], values[None], np.ones((1, len(t))), np.ones((1, len(t)), dtype=bool), natural=natural)


def _best_start(shape: Shape, data: Data, *, settings: CurveSettings) -> Solved:
    """Fit from several starts at once, as if they were several plants, and keep the best."""
    t, y = data.t[0], data.y[0] if not data.natural else np.log(data.y[0])
    span = max(float(np.ptp(t)), 1e-9)
    starts = np.array(
        [
            (y.max() + extra, math.log(steep / span), t.min() + share * span)
            for extra in (0.05, 0.5, 2.0)
            for steep in (3.0, 8.0)
            for share in (0.3, 0.7, 1.2)
        ]
    )
    if shape == "expolinear":
        starts[:, 0] = y.max() - np.log(span) + starts[:, 0] - y.max() + 1.0
    copies = len(starts)
    many = Data(
        np.tile(data.t, (copies, 1)), np.tile(data.y, (copies, 1)), np.tile(data.sd, (copies, 1)),
        np.tile(data.seen, (copies, 1)), natural=data.natural,
    )  # fmt: skip
    free = np.zeros((3, 3))
    # A first round on logarithms finds the neighbourhood from anywhere; on sizes themselves young plants hardly count.
    if data.natural:
        rough = Data(many.t, np.log(many.y), many.sd, many.seen)
        starts = solve(shape, rough, start=starts, expected=starts, precision=free, steps=settings.steps).theta
    found = solve(shape, many, start=starts, expected=starts, precision=free, steps=10 * settings.steps)
    best = int(np.argmin(np.where(np.isfinite(found.loss), found.loss, np.inf)))
    one = slice(best, best + 1)
    return Solved(
        found.theta[one], found.information[one], found.slope[one], found.residual[one], found.weight[one],
        found.loss[one], found.share,
    )  # fmt: skip


def _inverse(information: FloatArray) -> FloatArray:
    """Covariance, infinite where the readings say nothing."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    scaled = information / np.outer(scale, scale)
    if not np.isfinite(scaled).all() or np.linalg.cond(scaled) > 1e12:
        return np.full((3, 3), np.inf)
    return np.asarray(np.linalg.inv(scaled) / np.outer(scale, scale))


def _unpinned(shape: Shape, theta: FloatArray, last: float, sure: float) -> str:
    share = math.exp(float(ln_area(shape, theta[None], np.array([[last]]))[0, 0]) - theta[0])
    spread = f"standard error {100 * sure:.0f} %" if math.isfinite(sure) else "no bound on it"
    return f"final size not pinned down ({spread}; the last reading is at {100 * share:.0f} % of it): not used"
