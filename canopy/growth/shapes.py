"""The three growth curves: ln area, its derivatives, growth rate and the day on which an area is reached.

Each curve has three free numbers that can take any value, so that a fit needs no bounds:

========== ============================================ ==============================================
shape      area at clock t                              parameters
========== ============================================ ==============================================
logistic   K / (1 + exp(−r (t − tm)))                   ln K, ln r, tm
gompertz   K exp(−exp(−c (t − ti)))                     ln K, ln c, ti
expolinear (cm/rm) ln(1 + exp(rm (t − tb)))             ln cm, ln rm, tb (Goudriaan & Monteith 1990)
========== ============================================ ==============================================

K is the final area, r and rm the relative growth rate of a young plant, c how fast it falls, tm and ti the clock at the
inflexion, tb where the straight line of the expolinear curve starts, cm its slope in mm² per unit of the clock.
"""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Shape = Literal["logistic", "gompertz", "expolinear"]
SHAPES: tuple[Shape, ...] = get_args(Shape)

_STEEPEST = 300.0
"""Exponents are kept within ± this, where exp() is still far from overflow and every curve is flat or straight."""


def ln_area(shape: Shape, theta: FloatArray, t: FloatArray) -> FloatArray:
    """Natural logarithm of the area.

    Parameters
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    theta : (..., 3) float array
        The curve's numbers, see above.
    t : (..., n) float array
        Clock: days after sowing, or degree days.

    Returns
    -------
    (..., n) float array
        ln mm², or the logarithm of whatever unit the curve was fitted in.
    """
    level, steep, shift = theta[..., :1], np.exp(theta[..., 1:2]), theta[..., 2:3]
    u = np.clip(steep * (t - shift), -_STEEPEST, _STEEPEST)
    if shape == "logistic":
        return np.asarray(level - np.logaddexp(0.0, -u))
    if shape == "gompertz":
        return np.asarray(level - np.exp(-u))
    return np.asarray(level - theta[..., 1:2] + _ln_softplus(u))


def slopes(shape: Shape, theta: FloatArray, t: FloatArray) -> FloatArray:
    """Derivatives of ln area by the curve's three numbers.

    Parameters
    ----------
    shape, theta, t : as for `ln_area`

    Returns
    -------
    (..., n, 3) float array
    """
    steep, shift = np.exp(theta[..., 1:2]), theta[..., 2:3]
    u = np.clip(steep * (t - shift), -_STEEPEST, _STEEPEST)
    pull = _pull(shape, u)
    by_steep = pull * u - (1.0 if shape == "expolinear" else 0.0)
    return np.stack([np.ones_like(u), by_steep, -steep * pull], axis=-1)


def relative_rate(shape: Shape, theta: FloatArray, t: FloatArray) -> FloatArray:
    """Relative growth rate d ln A/dt, per unit of the clock.

    Parameters
    ----------
    shape, theta, t : as for `ln_area`

    Returns
    -------
    (..., n) float array
        Above 0.
    """
    steep = np.exp(theta[..., 1:2])
    u = np.clip(steep * (t - theta[..., 2:3]), -_STEEPEST, _STEEPEST)
    return np.asarray(steep * _pull(shape, u))


def reached_at(shape: Shape, theta: FloatArray, area: FloatArray | float) -> FloatArray:
    """Clock at which an area is passed.

    Parameters
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    theta : (..., 3) float array
    area : float or (...) float array
        Above 0, in the curve's unit.

    Returns
    -------
    (...) float array
        Infinite where the curve never gets there.
    """
    steep, shift = np.exp(theta[..., 1]), theta[..., 2]
    # How far ln area has to stay below the final area, or below the slope over the rate for the straight one.
    below = theta[..., 0] - np.log(area)
    if shape == "expolinear":
        return np.asarray(shift + _inverse_softplus(np.exp(theta[..., 1] - below)) / steep)
    reachable = below > 0
    room = np.where(reachable, below, 1.0)
    u = -np.log(np.expm1(np.minimum(room, _STEEPEST))) if shape == "logistic" else -np.log(room)
    return np.asarray(np.where(reachable, shift + u / steep, np.inf))


def _pull(shape: Shape, u: FloatArray) -> FloatArray:
    """Derivative of ln area by u = steepness · (t − shift)."""
    if shape == "gompertz":
        return np.asarray(np.exp(-u))
    rise = np.exp(-np.logaddexp(0.0, u if shape == "logistic" else -u))
    return rise if shape == "logistic" else np.asarray(rise / np.exp(_ln_softplus(u)))


def _ln_softplus(u: FloatArray) -> FloatArray:
    """ln ln(1 + e^u), without losing all digits where u is far below 0."""
    far = u < -30.0  # there ln(1 + e^u) = e^u to all digits of a float
    return np.where(far, u, np.log(np.logaddexp(0.0, np.where(far, 0.0, u))))


def _inverse_softplus(v: FloatArray) -> FloatArray:
    """The u at which ln(1 + e^u) = v, for v > 0."""
    return np.where(v > 30.0, v, np.log(np.expm1(np.minimum(v, 30.0))))
