"""The plants of one tray and what is known of their crop fitted together: empirical Bayes with partial pooling.

Plants scatter round their tray, the tray round its crop, and all readings of one photo share an error (height, tilt,
light, a thirsty hour). A plant of few readings leans on the tray and the tray on the crop; many readings speak for
themselves. The tray's mean is found by generalized least squares on the linearised
curves (Lindstrom & Bates 1990, Biometrics 46:673), spreads by expectation-maximisation (Laird & Ware 1982, Biometrics
38:963), the curve by the marginal likelihood in Laplace's approximation, on the scale of BIC (Kass & Raftery 1995,
J. Am. Stat. Assoc. 90:773).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from canopy.growth.expected import Expected
from canopy.growth.fit import Data, Solved, solve
from canopy.growth.shapes import Shape, ln_area
from canopy.growth.single import say_choice
from canopy.settings.growth import CurveSettings

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Photos:
    """Which photo each reading comes from.

    Attributes
    ----------
    of : (p, n) int array
        Number of the photo from 0; anything where there is no reading.
    count : int
        Photos; 0 when readings share no error.
    """

    of: NDArray[np.int64]
    count: int


@dataclass(frozen=True)
class Pooled:
    """Curves of the plants of one tray.

    Attributes
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    theta : (p, 3) float array
        Each plant's numbers (see `canopy.growth.shapes`).
    own : (p, 3, 3) float array
        Covariance of a plant's numbers were the tray and the photos' shared errors known.
    lean : (p, 3, 3 + m) float array
        How far an error of the tray's numbers (mean, then shared error of each of m photos) moves the plant's.
    tray : (3 + m,) float array
        The tray's mean numbers, then the shared error of each photo.
    tray_covariance : (3 + m, 3 + m) float array
    plants : (3, 3) float array
        Covariance of plants round the tray's mean.
    sigma : float
        True size of the readings' deviations over what their ranges say.
    photo_sd : (m,) float array
        Standard deviation of each photo's shared error: the setting's, more for a photo far off.
    bic : float
        Twice the negative log marginal likelihood; less is better.
    z : (p, n) float array
        Deviations of the readings from their curves, in standard deviations; 0 where there is no reading.
    """

    shape: Shape
    theta: FloatArray
    own: FloatArray
    lean: FloatArray
    tray: FloatArray
    tray_covariance: FloatArray
    plants: FloatArray
    sigma: float
    photo_sd: FloatArray
    bic: float
    z: FloatArray

    @property
    def covariance(self) -> FloatArray:
        """(p, 3, 3) covariance of each plant's numbers, the tray's share included."""
        return np.asarray(self.own + self.lean @ self.tray_covariance @ np.swapaxes(self.lean, 1, 2))

    def ln_area(self, t: FloatArray) -> FloatArray:
        """(p, n) ln mm² of each plant at clock readings (p, n) or (n,)."""
        return ln_area(self.shape, self.theta, np.broadcast_to(t, (len(self.theta), np.shape(t)[-1])))


def fit_pooled(
    shape: Shape, data: Data, *, expected: Expected, settings: CurveSettings, photos: Photos | None = None
) -> Pooled:
    """Fit the plants of one tray together.

    Parameters
    ----------
    shape : `logistic`, `gompertz` or `expolinear`
    data : Data
        Rows are plants; rows without readings are allowed and get the tray's curve.
    expected : Expected
        Of this crop and shape.
    settings : CurveSettings
    photos : Photos, optional
        Absent: readings share no error.

    Returns
    -------
    Pooled
    """
    photos = photos or Photos(np.zeros(data.t.shape, dtype=np.int64), 0)
    alone = Photos(photos.of, 0)
    theta = np.tile(expected.mean, (len(data.t), 1))
    # First without shared errors: far from the goal they would take up what is the curve's.
    theta, now = _rounds(shape, data, theta, _begin(expected, alone, settings=settings), photos=alone,
                         expected=expected, settings=settings)  # fmt: skip
    if photos.count:
        theta, now = _rounds(shape, data, theta, _with_photos(now, photos, settings=settings), photos=photos,
                             expected=expected, settings=settings)  # fmt: skip
    last = _plants(shape, data, theta, now, photos=photos, steps=settings.steps)
    bic = _twice_negative_log_marginal(last, data, now, expected=expected)
    return Pooled(
        shape, last.fit.theta, last.own, last.lean, now.mean, now.sure, now.plants, now.sigma, now.photo_sd, bic,
        last.fit.residual,
    )  # fmt: skip


def best_pooled(
    data: Data, *, expected: Mapping[Shape, Expected], settings: CurveSettings, photos: Photos | None = None
) -> tuple[Pooled, tuple[Pooled, ...], str]:
    """The curve that suits a tray best, all curves tried, and one sentence on the choice.

    Parameters
    ----------
    data : Data
    expected : mapping of shape to Expected
        The shapes to try.
    settings : CurveSettings
    photos : Photos, optional
        Absent: readings share no error.

    Returns
    -------
    best : Pooled
    tried : tuple of Pooled
        Best first.
    said : str
    """
    fits = [fit_pooled(shape, data, expected=e, settings=settings, photos=photos) for shape, e in expected.items()]
    fits.sort(key=lambda fit: fit.bic)
    return fits[0], tuple(fits), say_choice({fit.shape: fit.bic for fit in fits}, settings=settings)


_STILL = 1e-2
"""Learning ends when no tray number moved by more, in spreads of plants: far below what any of them is known to."""


@dataclass(frozen=True)
class _State:
    """What is learnt of the tray: mean (and photos' errors), its covariance, spreads."""

    mean: FloatArray
    sure: FloatArray
    plants: FloatArray
    sigma: float
    photo_sd: FloatArray


@dataclass(frozen=True)
class _Step:
    """Plants given the tray: curves, covariances, and how they lean on the tray's numbers."""

    fit: Solved
    own: FloatArray
    lean: FloatArray
    design: FloatArray
    weight: FloatArray


def _rounds(
    shape: Shape,
    data: Data,
    theta: FloatArray,
    now: _State,
    *,
    photos: Photos,
    expected: Expected,
    settings: CurveSettings,
) -> tuple[FloatArray, _State]:
    """Plants from the tray and the tray from its plants, until nothing moves."""
    steps = settings.steps
    for _ in range(settings.rounds):
        step = _plants(shape, data, theta, now, photos=photos, steps=steps)
        new = _learn(step, data, now, expected=expected, settings=settings)
        # Later rounds start next to their goal.
        theta, steps, moved, now = step.fit.theta, max(5, settings.steps // 10), _moved(now, new), new
        if moved < _STILL:
            break
    return theta, now


def _with_photos(now: _State, photos: Photos, *, settings: CurveSettings) -> _State:
    mean = np.concatenate([now.mean, np.zeros(photos.count)])
    sure = np.eye(3 + photos.count) * settings.photo_sd**2
    sure[:3, :3] = now.sure
    return _State(mean, sure, now.plants, now.sigma, np.full(photos.count, settings.photo_sd))


def _begin(expected: Expected, photos: Photos, *, settings: CurveSettings) -> _State:
    mean = np.concatenate([expected.mean, np.zeros(photos.count)])
    sd = np.full(photos.count, settings.photo_sd)
    return _State(mean, _tray_prior(expected, sd), expected.plants, 1.0, sd)


def _tray_prior(expected: Expected, photo_sd: FloatArray) -> FloatArray:
    """Covariance of the tray's numbers and the photos' errors before any reading."""
    prior = np.diag(np.concatenate([np.zeros(3), photo_sd**2]))
    prior[:3, :3] = expected.trays
    return prior


def _plants(shape: Shape, data: Data, theta: FloatArray, now: _State, *, photos: Photos, steps: int) -> _Step:
    """Each plant's curve given the tray, its covariance, and its lean."""
    shared = np.where(data.seen, now.mean[3:][photos.of], 0.0) if photos.count else 0.0
    sd = data.sd * now.sigma
    freed = Data(data.t, data.y - shared, sd, data.seen, natural=data.natural, dof=data.dof)
    precision = np.asarray(np.linalg.inv(now.plants), dtype=np.float64)
    fit = solve(shape, freed, start=theta, expected=now.mean[:3], precision=precision, steps=steps)
    own = np.asarray(np.linalg.inv(precision + fit.information), dtype=np.float64)
    # Which photo each reading is of, as columns of ones; then weights with the information that readings really carry.
    photo = (photos.of[..., None] == np.arange(photos.count)) & data.seen[..., None]
    weight = fit.weight / sd**2 * fit.share
    pulled = np.einsum("pnk,pn,pnm->pkm", fit.slope, weight, photo)
    lean = np.concatenate([own @ precision, -own @ pulled], axis=2)
    return _Step(fit, own, lean, np.concatenate([fit.slope, photo], axis=2), weight)


def _learn(step: _Step, data: Data, now: _State, *, expected: Expected, settings: CurveSettings) -> _State:
    """The tray given its plants."""
    mean, sure = _tray_numbers(step, data, now, expected=expected)
    away = step.fit.theta - mean[:3]
    count = settings.prior_plants
    plants = (count * expected.plants + away.T @ away + step.own.sum(axis=0)) / (count + len(away))
    unsure = np.einsum("pnk,pkl,pnl->pn", step.fit.slope, step.own, step.fit.slope) / (data.sd * now.sigma) ** 2
    total = float((step.fit.weight * (step.fit.residual**2 + unsure)).sum()) * now.sigma**2
    # The stated uncertainty (sigma 1) counts as so many readings.
    variance = (settings.prior_readings + total) / (settings.prior_readings + float(data.seen.sum()))
    photo_sd = _photo_sd(mean[3:], settings=settings)
    return _State(mean, sure, (plants + plants.T) / 2, math.sqrt(variance), photo_sd)


def _photo_sd(shared: FloatArray, *, settings: CurveSettings) -> FloatArray:
    """Student's t for whole photos as for readings: one taken of a wilted tray is let go, not followed.

    Only the farthest few may be let go: were all free, photos would take up the growth itself and any curve would fit.
    """
    far = (shared / settings.photo_sd) ** 2
    freed = np.argsort(-far, kind="stable")[: int(settings.photos_let_go * len(far))]
    widened = np.ones(len(far))
    widened[freed] = np.sqrt(np.maximum((settings.tail_dof + far[freed]) / (settings.tail_dof + 1.0), 1.0))
    return settings.photo_sd * widened


def _tray_numbers(step: _Step, data: Data, now: _State, *, expected: Expected) -> tuple[FloatArray, FloatArray]:
    """Tray's mean numbers, photos' errors and their covariance, the plants' own numbers integrated out."""
    fit, weight = step.fit, step.weight
    crop = np.linalg.inv(_tray_prior(expected, now.photo_sd))
    # Inverse covariance of a plant's readings with its own numbers integrated out, applied to the design
    # (Woodbury): W − W J own Jᵀ W.
    across = np.einsum("pnk,pn,pnm->pkm", fit.slope, weight, step.design)
    known = np.einsum("pnl,pn,pnm->lm", step.design, weight, step.design)
    known -= np.einsum("pkl,pkj,pjm->lm", across, step.own, across)
    # Readings as the linearised curves see them: residual plus what theta, mean and photos explain.
    residual = np.where(data.seen, fit.residual * data.sd * now.sigma, 0.0)
    working = residual / fit.share + np.einsum("pnk,pk->pn", fit.slope, fit.theta)
    working += np.einsum("pnm,m->pn", step.design[..., 3:], now.mean[3:])
    pulled = np.einsum("pnl,pn,pn->l", step.design, weight, working)
    own_pull = np.einsum("pnk,pn,pn->pk", fit.slope, weight, working)
    pulled -= np.einsum("pkl,pkj,pj->l", across, step.own, own_pull)
    sure = np.linalg.inv(crop + known)
    start = np.concatenate([expected.mean, np.zeros(len(now.photo_sd))])
    return sure @ (crop @ start + pulled), (sure + sure.T) / 2


def _moved(old: _State, new: _State) -> float:
    """Greatest change of the tray's numbers, each in its own measure."""
    shift = np.abs(new.mean - old.mean)[:3] / np.sqrt(np.diag(new.plants))
    wider = np.abs(np.log(np.diag(new.plants) / np.diag(old.plants)))
    return float(max(shift.max(), wider.max(), abs(math.log(new.sigma / old.sigma))))


def _twice_negative_log_marginal(step: _Step, data: Data, now: _State, *, expected: Expected) -> float:
    """Laplace's approximation, plants' and tray's numbers integrated out, spreads at their best."""
    seen = data.seen
    if math.isinf(data.dof):
        normal = math.log(2 * math.pi)
    else:
        half = data.dof / 2
        normal = -2 * float(gammaln(half + 0.5) - gammaln(half)) + math.log(math.pi * data.dof)
    constant = float(seen.sum()) * normal + 2 * float(np.log(np.where(seen, data.sd * now.sigma, 1.0)).sum())
    sides = len(step.own) * np.linalg.slogdet(now.plants)[1] - np.linalg.slogdet(step.own)[1].sum()
    prior = _tray_prior(expected, now.photo_sd)
    away = now.mean - np.concatenate([expected.mean, np.zeros(len(now.photo_sd))])
    tray = away @ np.linalg.inv(prior) @ away + np.linalg.slogdet(prior)[1] - np.linalg.slogdet(now.sure)[1]
    return float(step.fit.loss.sum() + constant + sides + tray)
