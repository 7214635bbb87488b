"""Fitting the mapping from tray millimetres to pixels to points whose places are known on both sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.settings import TraySettings
from canopy.tray.frame import apply_homography, distort, half_diagonal, picture_centre

FloatArray = NDArray[np.float64]

_LOST_PX = 1e6  # distance of a point that the fit puts behind the camera
_ROUNDS = 12  # Gauss–Newton from the linear solution; the step is below 1e-9 after four to six


@dataclass(frozen=True)
class PlaneFit:
    """A homography, a lens term, and how well they fit.

    Attributes
    ----------
    px_from_mm : (3, 3) ndarray
        Tray mm → ideal pixels.
    k1 : float
        Lens term, see `Frame`.
    print_scale : float
        Size of the printed markers over the size that the layout says.
    distances_px : (n,) ndarray
        Distance of each point from where it was seen.
    """

    px_from_mm: FloatArray
    k1: float
    print_scale: float
    distances_px: FloatArray

    @property
    def residual_px(self) -> float:
        """Root mean square of the distances."""
        return float(np.sqrt(np.mean(self.distances_px**2)))


def fit_homography(points_mm: FloatArray, points_px: FloatArray) -> FloatArray:
    """Homography through 4 points (exact) or more (direct linear transform, least squares); (n, 2) twice → (3, 3).

    Both point sets are centred and scaled first, without which the equations are badly conditioned (Hartley &
    Zisserman 2004, chapter 4).
    """
    norm_mm, norm_px = _normaliser(points_mm), _normaliser(points_px)
    x, y = apply_homography(norm_mm, points_mm).T
    u, v = apply_homography(norm_px, points_px).T
    one, nil = np.ones_like(x), np.zeros_like(x)
    rows_u = np.stack([x, y, one, nil, nil, nil, -u * x, -u * y, -u], axis=1)
    rows_v = np.stack([nil, nil, nil, x, y, one, -v * x, -v * y, -v], axis=1)
    matrix = np.linalg.svd(np.concatenate([rows_u, rows_v]))[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(norm_px) @ matrix @ norm_mm
    return np.asarray(matrix / np.linalg.norm(matrix))


def fit_markers(
    anchors_mm: FloatArray,
    offsets_mm: FloatArray,
    points_px: FloatArray,
    *,
    width_px: int,
    height_px: int,
    settings: TraySettings,
) -> PlaneFit:
    """Fit homography, printed size and, if it shows, the lens term to marker corners.

    Markers swell in an overexposed picture and printers scale by a few per cent; both look like a lens term unless the
    printed size is free too. The lens term shows in that it stretches a marker more along its radius than across, and
    is kept only if it lowers the squared residual by F ≥ `lens_f_min` (one extra parameter).

    Parameters
    ----------
    anchors_mm, offsets_mm : (n, 2) ndarray
        Marker centre of each corner, and where the corner lies from there by the layout.
    points_px : (n, 2) ndarray
        Where the corners were seen.
    width_px, height_px : int
        Size of the picture.
    settings : TraySettings
    """
    problem = _Problem(anchors_mm, offsets_mm, points_px, width_px, height_px, settings)
    plain, bent = problem.solve(with_lens=False), problem.solve(with_lens=True)
    left = 2 * len(points_px) - 10  # equations less unknowns of the bent fit
    # Corners of markers that swelled (or were printed small) are rounder on one side: less is known of their place.
    swell_px = abs(plain.print_scale - 1) * float(np.hypot(*offsets_mm.T).mean()) / problem.mm_per_px(plain)
    known_to = (settings.corner_sd_px / 2) ** 2 + (settings.swell_doubt * swell_px) ** 2
    variance = max(float(np.sum(bent.distances_px**2)) / left, known_to)
    gain = float(np.sum(plain.distances_px**2) - np.sum(bent.distances_px**2))
    return bent if gain / variance >= settings.lens_f_min else plain


class _Problem:
    """The least-squares problem in normalised coordinates: pixels in half diagonals from the picture's centre, mm in
    spans from the points' middle. Unknowns: eight of the homography, printed size, lens term.
    """

    def __init__(
        self,
        anchors_mm: FloatArray,
        offsets_mm: FloatArray,
        points_px: FloatArray,
        width_px: int,
        height_px: int,
        settings: TraySettings,
    ) -> None:
        self.size = (width_px, height_px)
        self.anchors_mm, self.offsets_mm, self.points_px = anchors_mm, offsets_mm, points_px
        unit = half_diagonal(width_px, height_px)
        middle, span = anchors_mm.mean(axis=0), float(np.ptp(anchors_mm, axis=0).max())
        self.to_unit = np.array([[1 / span, 0, -middle[0] / span], [0, 1 / span, -middle[1] / span], [0, 0, 1]])
        cx, cy = picture_centre(width_px, height_px)
        self.from_unit = np.array([[unit, 0, cx], [0, unit, cy], [0, 0, 1.0]])
        self.anchors = (anchors_mm - middle) / span
        self.offsets = offsets_mm / span
        self.seen = (points_px - (cx, cy)) / unit
        sd = settings.corner_sd_px / unit
        self.prior = np.array([sd / max(settings.print_scale_sd, 1e-6), sd / settings.lens_sd])

    def solve(self, *, with_lens: bool) -> PlaneFit:
        start = fit_homography(self.anchors + self.offsets, self.seen)
        unknowns = np.append((start / start[2, 2]).ravel()[:8], [1.0, 0.0])
        used = slice(0, 10 if with_lens else 9)
        for _ in range(_ROUNDS):
            residual, jacobian = self._linearise(unknowns)
            if not np.isfinite(residual).all():  # points that no camera sees like this; the distances will say so
                break
            step = np.linalg.lstsq(jacobian[:, used], residual, rcond=None)[0]
            unknowns[used] += step
            if np.abs(step).max() < 1e-10:
                break
        return self._finish(unknowns)

    def mm_per_px(self, fit: PlaneFit) -> float:
        """Rough scale of a fit."""
        middle = self.anchors_mm.mean(axis=0)
        seen = apply_homography(fit.px_from_mm, middle + np.array([[0.0, 0], [1, 0], [0, 1]]))
        return float(2 / (np.hypot(*(seen[1] - seen[0])) + np.hypot(*(seen[2] - seen[0]))))

    def _linearise(self, unknowns: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Residuals (seen − model, then priors) and the model's derivatives by the ten unknowns."""
        h, size, k1 = unknowns[:8], unknowns[8], unknowns[9]
        x, y = (self.anchors + size * self.offsets).T
        dx, dy = self.offsets.T
        w = h[6] * x + h[7] * y + 1
        u, v = (h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w
        one, nil = np.ones_like(x), np.zeros_like(x)
        du = np.stack([x, y, one, nil, nil, nil, -u * x, -u * y, (h[0] - u * h[6]) * dx + (h[1] - u * h[7]) * dy]) / w
        dv = np.stack([nil, nil, nil, x, y, one, -v * x, -v * y, (h[3] - v * h[6]) * dx + (h[4] - v * h[7]) * dy]) / w
        r2 = u**2 + v**2
        by_u = np.append((1 + k1 * (r2 + 2 * u**2)) * du + 2 * k1 * u * v * dv, [u * r2], axis=0)
        by_v = np.append((1 + k1 * (r2 + 2 * v**2)) * dv + 2 * k1 * u * v * du, [v * r2], axis=0)
        bend = 1 + k1 * r2
        priors = np.zeros((2, 10))
        priors[0, 8], priors[1, 9] = self.prior
        missed = self.seen - np.stack([u * bend, v * bend], axis=1)
        residual = np.concatenate([missed[:, 0], missed[:, 1], self.prior * (1 - size, -k1)])
        return residual, np.concatenate([by_u.T, by_v.T, priors])

    def _finish(self, unknowns: FloatArray) -> PlaneFit:
        px_from_mm = self.from_unit @ np.append(unknowns[:8], 1.0).reshape(3, 3) @ self.to_unit
        size, k1 = float(unknowns[8]), float(unknowns[9])
        width_px, height_px = self.size
        ideal = apply_homography(px_from_mm, self.anchors_mm + size * self.offsets_mm)
        model = distort(ideal, k1, width_px=width_px, height_px=height_px)
        distances = np.hypot(*(model - self.points_px).T)
        return PlaneFit(px_from_mm, k1, size, np.where(np.isfinite(distances), distances, _LOST_PX))


def _normaliser(points: FloatArray) -> FloatArray:
    """Similarity that moves points to mean 0 and mean distance √2."""
    middle = points.mean(axis=0)
    scale = np.sqrt(2) / max(float(np.hypot(*(points - middle).T).mean()), 1e-12)
    return np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1.0]])
