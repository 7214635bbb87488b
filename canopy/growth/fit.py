"""Many curves of one shape fitted at once, each drawn to what is expected of it and deaf to single bad readings.

The work is done by damped Gauss-Newton steps (Levenberg 1944, Marquardt 1963) on all plants together; readings follow
Student's t (Lange, Little & Taylor 1989, J. Am. Stat. Assoc. 84:881), fitted by weights renewed at each step.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.growth.shapes import Shape, ln_area, slopes

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Data:
    """Readings of many plants, padded to one length.

    Attributes
    ----------
    t : (p, n) float array
        Clock of each reading.
    y : (p, n) float array
        ln area; the area itself where `natural` is True.
    sd : (p, n) float array
        Standard deviation of y, above 0.
    seen : (p, n) bool array
        False where a plant has no such reading.
    natural : bool
        True: deviations count in the unit of the area, not in its logarithm.
    dof : float
        Degrees of freedom of Student's t; infinite for normal deviations.
    """

    t: FloatArray
    y: FloatArray
    sd: FloatArray
    seen: NDArray[np.bool_]
    natural: bool = False
    dof: float = math.inf


@dataclass(frozen=True)
class Solved:
    """The curves found.

    Attributes
    ----------
    theta : (p, 3) float array
    information : (p, 3, 3) float array
        What the readings alone say of theta (inverse of a covariance where it can be inverted).
    slope : (p, n, 3) float array
        Derivatives of y by theta, 0 where not seen.
    residual : (p, n) float array
        y minus curve in standard deviations, 0 where not seen.
    weight : (p, n) float array
        Weight of each reading, about 1, near 0 for bad ones; 0 where not seen.
    loss : (p,) float array
        Twice the negative log posterior, less constants.
    share : float
        Information of one reading over that of a normal one of the same scale; below 1 for Student's t.
    """

    theta: FloatArray
    information: FloatArray
    slope: FloatArray
    residual: FloatArray
    weight: FloatArray
    loss: FloatArray
    share: float


def solve(
    shape: Shape, data: Data, *, start: FloatArray, expected: FloatArray, precision: FloatArray, steps: int
) -> Solved:
    """Fit all plants.

    Parameters
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    data : Data
    start : (p, 3) float array
    expected : (p, 3) or (3,) float array
        Centre of what is expected of theta.
    precision : (3, 3) float array
        Inverse covariance of theta round `expected`; zeros for a fit to the readings alone.
    steps : int
        Steps at most.

    Returns
    -------
    Solved
    """
    theta = start.copy()
    damping = np.full(len(theta), 1e-2)
    now = _look(shape, data, theta, expected, precision)
    for _ in range(steps):
        pull = np.einsum("pnk,pn->pk", now.slope, now.weight * now.residual / data.sd)
        pull -= (theta - expected) @ precision
        hessian = np.einsum("pnk,pn,pnl->pkl", now.slope, now.weight / data.sd**2, now.slope) + precision
        diagonal = np.einsum("pkk->pk", hessian)
        # The floor lets a number move back that the readings do not feel at all where it stands.
        damped = hessian + (damping[:, None] * np.maximum(diagonal, 1e-9))[:, :, None] * np.eye(3)
        move = _stride(np.linalg.solve(damped, pull[..., None])[..., 0], theta)
        tried = _look(shape, data, theta + move, expected, precision)
        better = tried.loss <= now.loss
        damping = np.clip(np.where(better, damping / 4.0, damping * 6.0), 1e-12, 1e12)
        gain = np.where(better, now.loss - tried.loss, 0.0)
        theta = np.where(better[:, None], theta + move, theta)
        now = _choose(better, tried, now)
        if np.all((gain < 1e-10 * (1.0 + np.abs(now.loss))) & (better | (damping > 1e6))):
            break
    return now


def _stride(move: FloatArray, theta: FloatArray) -> FloatArray:
    """Cut a step to 2 in ln level and ln rate and to 3 characteristic times: farther ones leave the curve flat."""
    most = np.stack([np.full(len(theta), 2.0), np.full(len(theta), 2.0), 3.0 * np.exp(-theta[:, 1])], axis=1)
    return np.clip(move, -most, most)


def _look(shape: Shape, data: Data, theta: FloatArray, expected: FloatArray, precision: FloatArray) -> Solved:
    """Curve, weights and loss at theta."""
    curve = ln_area(shape, theta, data.t)
    slope = slopes(shape, theta, data.t)
    if data.natural:
        curve = np.exp(np.clip(curve, -50.0, 50.0))
        slope = slope * curve[..., None]
    seen = data.seen
    z = np.where(seen, (data.y - curve) / data.sd, 0.0)
    if math.isinf(data.dof):
        weight, cost, share = seen.astype(float), z**2, 1.0
    else:
        weight = np.where(seen, (data.dof + 1.0) / (data.dof + z**2), 0.0)
        cost = (data.dof + 1.0) * np.log1p(z**2 / data.dof)
        # Fisher information of a t-distributed reading over that of a normal one of the same scale.
        share = (data.dof + 1.0) / (data.dof + 3.0)
    away = theta - expected
    loss = cost.sum(axis=1) + np.einsum("pk,kl,pl->p", away, precision, away)
    slope = np.where(seen[..., None], slope, 0.0)
    information = share * np.einsum("pnk,pn,pnl->pkl", slope, weight / data.sd**2, slope)
    return Solved(theta, information, slope, z, weight, loss, share)


def _choose(better: NDArray[np.bool_], new: Solved, old: Solved) -> Solved:
    """Plant by plant the new state or the old one."""

    def pick(a: FloatArray, b: FloatArray) -> FloatArray:
        return np.asarray(np.where(better.reshape(-1, *(1,) * (a.ndim - 1)), a, b))

    return Solved(
        pick(new.theta, old.theta), pick(new.information, old.information), pick(new.slope, old.slope),
        pick(new.residual, old.residual), pick(new.weight, old.weight), pick(new.loss, old.loss), new.share,
    )  # fmt: skip
