"""Possible futures of a tray: curves drawn from what is known of its plants, the doubt about the curve included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.growth.curves import TrayCurves
from canopy.growth.pool import Pooled
from canopy.growth.shapes import Shape, ln_area, reached_at
from canopy.settings.growth import ForecastSettings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Futures:
    """Drawn curves of all plants of one tray.

    Attributes
    ----------
    curves : TrayCurves
    theta : dict of shape to (d, p, 3) float array
        The draws of each curve, as many as it is likely; plants of one draw belong together.
    drift : (d, 1) float array
        Departure of the tray's ln area from its curves one day after the last reading; it grows with the root of days.
    """

    curves: TrayCurves
    theta: dict[Shape, FloatArray]
    drift: FloatArray

    def reached_das(self, area: float) -> FloatArray:
        """(d, p) days after sowing on which each plant passes an area; infinite where never."""
        plain = self._reached(np.full((len(self.drift), 1), area))
        # The drift is that of the day on which the plant would get there without it.
        ahead = np.minimum(np.maximum(plain - self._last, 0.0), _FURTHEST_DAYS)
        return self._reached(area * np.exp(-self.drift * np.sqrt(ahead)))

    def ln_area(self, das: FloatArray) -> FloatArray:
        """(d, p, n) ln mm² at days after sowing (n,)."""
        age = self.curves.age(das)
        ahead = np.minimum(np.maximum(das - self._last, 0.0), _FURTHEST_DAYS)
        plain = np.concatenate([ln_area(shape, theta, age[None]) for shape, theta in self.theta.items()])
        return np.asarray(plain + self.drift[:, :, None] * np.sqrt(ahead))

    @property
    def _last(self) -> float:
        """Day of the tray's last reading; its day of sowing without any."""
        last = self.curves.table["last_das"].max()
        return 0.0 if np.isnan(last) else float(last)

    def _reached(self, area: FloatArray) -> FloatArray:
        ages, at = [], 0
        for shape, theta in self.theta.items():
            ages.append(reached_at(shape, theta, area[at : at + len(theta)]))
            at += len(theta)
        return self.curves.das_of(np.concatenate(ages))


_FURTHEST_DAYS = 60.0
"""Drift grows no further after this many days: nobody forecasts a tray that far."""


def draw_futures(curves: TrayCurves, *, settings: ForecastSettings) -> Futures:
    """Draw curves of a tray's plants.

    Each curve tried has a share of the draws by its marginal likelihood, exp(−BIC/2) (Kass & Raftery 1995), evened out
    by the setting `doubt`. Within a draw the tray's numbers, the photos' errors and the drift are the same for all
    plants.

    Parameters
    ----------
    curves : TrayCurves
    settings : ForecastSettings

    Returns
    -------
    Futures
    """
    rng = np.random.default_rng(settings.seed)
    counts = _shares(np.array([fit.bic for fit in curves.tried]) / settings.doubt, settings.draws)
    theta = {fit.shape: _draw(fit, int(n), rng) for fit, n in zip(curves.tried, counts, strict=True) if n}
    return Futures(curves, theta, settings.drift_sd * rng.standard_normal((settings.draws, 1)))


def _shares(bic: FloatArray, draws: int) -> NDArray[np.int64]:
    """Whole numbers of draws that sum to `draws`; rounding goes to the best curve."""
    weight = np.exp(-(bic - bic.min()) / 2)
    counts = np.asarray(np.floor(draws * weight / weight.sum() + 1e-9), dtype=np.int64)
    counts[int(np.argmin(bic))] += draws - counts.sum()
    return counts


def _draw(fit: Pooled, count: int, rng: np.random.Generator) -> FloatArray:
    shared = rng.standard_normal((count, len(fit.tray))) @ _root(fit.tray_covariance).T
    own = np.einsum("pkl,dpl->dpk", _root(fit.own), rng.standard_normal((count, *fit.theta.shape)))
    return np.asarray(fit.theta + own + np.einsum("pkl,dl->dpk", fit.lean, shared))


def _root(covariance: FloatArray) -> FloatArray:
    """A square root of covariances that may be singular to rounding."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :])
