"""How a picture of the same place moved: by features of what does not grow, then by the tray's rim."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.settings.view import ViewSettings

FloatArray = NDArray[np.float64]
FloatImage = NDArray[np.float32]
RgbImage = NDArray[np.uint8]

_LEAF_MARGIN_PX = 5  # around leaves, whose edges and shadows move with them
_EVEN_OUT_PX = 12.0  # light is evened out over this length before rims are compared
_LEAST_CONTRAST = 4.0  # code values; patches of less are noise
_ENDS = 0.04  # share of a side left out at its ends


@dataclass(frozen=True)
class Movement:
    """How everything that does not grow moved from one picture to another of the same size.

    Attributes
    ----------
    matrix : (3, 3) ndarray
        Homography from pixels of the first to pixels of the second.
    inliers, matches : int
        Matches that agree with it, and all.
    """

    matrix: FloatArray
    inliers: int
    matches: int


@dataclass(frozen=True)
class RimCheck:
    """What the tray's sides say of corners that were foretold.

    Attributes
    ----------
    corners : (4, 2) ndarray
        The corners moved onto the sides that were found again.
    found : (4,) bool ndarray
        Sides (0 to 1, 1 to 2, …) that were found again.
    apart_px : (4,) ndarray
        How far each side lies from where it was foretold, at the end where it is farther; 0 where it was not found.
    """

    corners: FloatArray
    found: NDArray[np.bool_]
    apart_px: FloatArray


def view_picture(rgb: RgbImage, *, settings: ViewSettings) -> bytes:
    """A photo made small, as a JPEG file: what a view is checked by; (M, N, 3) uint8 sRGB."""
    height, width = rgb.shape[:2]
    factor = min(1.0, settings.picture_long_side_px / max(height, width))
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    bgr = cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
    return bytes(cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, settings.picture_quality])[1].tobytes())


def find_movement(
    before: RgbImage, now: RgbImage, *, reach_px: float | None, settings: ViewSettings
) -> Movement | None:
    """Common movement of the features outside of leaves, by matching and RANSAC; None where too few match.

    Parameters
    ----------
    before, now : (m, n, 3) uint8 ndarray
        Of one size.
    reach_px : float or None
        Matches farther apart than this are not considered; None: all are.
    """
    finder = cv2.ORB.create(settings.features, fastThreshold=settings.feature_threshold)
    points, words = zip(*(_features(finder, rgb, settings) for rgb in (before, now)), strict=True)
    if min(len(p) for p in points) < settings.min_inliers:
        return None
    first, second = _matches(points, words, reach_px, settings)
    if len(first) < settings.min_inliers:
        return None
    matrix, inliers = cv2.findHomography(first, second, cv2.USAC_MAGSAC, settings.inlier_px, maxIters=5000)
    if matrix is None:
        return None
    return Movement(np.asarray(matrix, np.float64), int(inliers.sum()), len(first))


def find_shift(before: RgbImage, now: RgbImage, *, settings: ViewSettings) -> FloatArray:
    """Common shift of two pictures where leaves are left out, by phase correlation (Kuglin & Hines 1975); (3, 3)."""
    even = [
        _evened(rgb) * (cv2.GaussianBlur(not_leaves(rgb, settings=settings), (0, 0), 3) / np.float32(255))
        for rgb in (before, now)
    ]
    window = cv2.createHanningWindow(before.shape[1::-1], cv2.CV_32F)
    (x, y), _ = cv2.phaseCorrelate(even[0], even[1], window)
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _features(finder: cv2.ORB, rgb: RgbImage, settings: ViewSettings) -> tuple[FloatArray, NDArray[np.uint8]]:
    """Places (n, 2) and descriptors (n, 32) of features outside of leaves."""
    grey = cv2.createCLAHE(2.0, (8, 8)).apply(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY))
    found, words = finder.detectAndCompute(grey, not_leaves(rgb, settings=settings))
    if words is None:
        return np.zeros((0, 2)), np.zeros((0, 32), np.uint8)
    return np.array([point.pt for point in found]), np.asarray(words, np.uint8)


def not_leaves(rgb: RgbImage, *, settings: ViewSettings) -> NDArray[np.uint8]:
    """255 away from green, 0 on it and beside it; (m, n) uint8."""
    share = rgb.astype(np.float32)
    share /= np.maximum(share.sum(axis=2, keepdims=True), 1)
    green = (2 * share[..., 1] - share[..., 0] - share[..., 2] > settings.green_from).astype(np.uint8)
    size = 2 * _LEAF_MARGIN_PX + 1
    wider = cv2.dilate(cv2.medianBlur(green, 5), np.ones((size, size), np.uint8))
    return np.asarray(np.where(wider > 0, 0, 255), np.uint8)


def _matches(
    points: tuple[FloatArray, ...], words: tuple[NDArray[np.uint8], ...], reach_px: float | None, settings: ViewSettings
) -> tuple[FloatArray, FloatArray]:
    """Pairs of places whose descriptors are nearest to each other both ways, and clearly so one way."""
    bits = [np.unpackbits(w, axis=1).astype(np.float32) for w in words]
    # Hamming distance of all pairs: |a| + |b| − 2·a·b.
    far = bits[0].sum(axis=1)[:, None] + bits[1].sum(axis=1) - 2 * bits[0] @ bits[1].T
    if reach_px is not None:
        apart2 = np.square(points[0][:, None] - points[1][None]).sum(axis=2)
        far[apart2 > reach_px**2] = words[0].shape[1] * 8
    best = far.argmin(axis=1)
    nearest_two = np.partition(far, 1, axis=1)[:, :2]
    mutual = far.argmin(axis=0)[best] == np.arange(len(best))
    clear = (nearest_two[:, 0] < settings.ratio * nearest_two[:, 1]) & mutual
    return points[0][clear], points[1][best[clear]]


def shape_change(before: FloatArray, after: FloatArray) -> float:
    """Largest share by which a side of a quadrilateral grew or shrank; infinite where it is no longer one."""
    if not np.isfinite(after).all():
        return np.inf
    old, new = (np.hypot(*(np.roll(q, -1, axis=0) - q).T) for q in (before, after))
    return float(np.abs(new / np.maximum(old, 1e-9) - 1).max())


def check_rim(
    before: RgbImage, now: RgbImage, corners: FloatArray, foretold: FloatArray, *, settings: ViewSettings
) -> RimCheck:
    """Find the sides of a tray again near to where they are foretold, and move its corners onto them.

    Parameters
    ----------
    before, now : (m, n, 3) uint8 ndarray
    corners, foretold : (4, 2) ndarray
        The tray's corners in the first picture, and where they should be in the second.
    """
    even = [_evened(rgb) for rgb in (before, now)]
    ends, found, apart = [], [], []
    for k in range(4):
        sides = [(q[k], q[(k + 1) % 4]) for q in (corners, foretold)]
        at, offset = _rim_offsets(even, sides, settings)
        fit = _line(at, offset, settings)
        start, end = sides[1]
        unit = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        normal = np.array([unit[1], -unit[0]])
        moved = np.array(fit if fit is not None else (0.0, 0.0))
        ends.append((start + normal * moved[0], end + normal * moved[1]))
        found.append(fit is not None)
        apart.append(np.abs(moved).max())
    met = np.array([_meet(ends[k - 1], ends[k]) for k in range(4)])
    return RimCheck(met, np.array(found), np.array(apart))


def _evened(rgb: RgbImage) -> FloatImage:
    """Grey without slow changes of light, contrast evened out."""
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    shape = grey - cv2.GaussianBlur(grey, (0, 0), _EVEN_OUT_PX)
    power = cv2.GaussianBlur(np.square(shape), (0, 0), _EVEN_OUT_PX)
    return np.asarray(shape / np.sqrt(power + np.float32(_LEAST_CONTRAST**2)), np.float32)


def _rim_offsets(
    even: list[FloatImage], sides: list[tuple[FloatArray, FloatArray]], settings: ViewSettings
) -> tuple[FloatArray, FloatArray]:
    """Places along a side (0..1) where the rim is found again, and how far outwards from where it is foretold."""
    half, reach = settings.rim_patch_px, round(settings.rim_reach_px)
    length = float(np.hypot(*(sides[1][1] - sides[1][0])))
    strips = [
        _strip(image, side, round(length), width)
        for image, side, width in zip(even, sides, (half, half + reach), strict=True)
    ]
    at, offset = [], []
    for t in np.linspace(_ENDS, 1 - _ENDS, settings.rim_points):
        middle = round(t * (strips[0].shape[1] - 1))
        columns = slice(max(0, middle - half), middle + half + 1)
        patch, window = strips[0][:, columns], strips[1][:, columns]
        if patch.std() < 0.3:
            continue
        score = cv2.matchTemplate(np.ascontiguousarray(window), np.ascontiguousarray(patch), cv2.TM_CCOEFF_NORMED)[:, 0]
        best = int(score.argmax())
        if score[best] >= settings.rim_likeness and 0 < best < len(score) - 1:
            left, top, right = (float(v) for v in score[best - 1 : best + 2])
            bend = left - 2 * top + right
            at.append(t)
            offset.append(best + (0.0 if bend >= 0 else (left - right) / (2 * bend)) - reach)
    return np.array(at), np.array(offset)


def _strip(image: FloatImage, side: tuple[FloatArray, FloatArray], length: int, half: int) -> FloatImage:
    """A band along a side straightened: rows run outwards, columns along; (2·half + 1, length)."""
    start, end = side
    along = end - start
    unit = along / max(float(np.hypot(*along)), 1e-9)
    normal = np.array([unit[1], -unit[0]])  # outwards of a clockwise quadrilateral, y down
    t, across = np.linspace(0, 1, max(length, 2)), np.arange(-half, half + 1.0)
    x = start[0] + t * along[0] + across[:, None] * normal[0]
    y = start[1] + t * along[1] + across[:, None] * normal[1]
    return np.asarray(
        cv2.remap(image, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )


def _line(at: FloatArray, offset: FloatArray, settings: ViewSettings) -> tuple[float, float] | None:
    """Offsets at both ends of a side by a line most places agree with; None where too few do."""
    needed = max(4, settings.rim_share * settings.rim_points)
    if len(at) < needed:
        return None
    pairs = [(i, j) for i in range(len(at)) for j in range(i + 1, len(at)) if at[j] - at[i] > 0.3]
    if not pairs:
        return None
    i, j = np.array(pairs).T
    slope = (offset[j] - offset[i]) / (at[j] - at[i])
    lines = offset[i][:, None] + slope[:, None] * (at[None] - at[i][:, None])
    near = np.abs(lines - offset) < settings.rim_within_px
    best = near[near.sum(axis=1).argmax()]
    if best.sum() < needed or np.ptp(at[best]) < 0.4:
        return None
    slope_, shift = np.polyfit(at[best], offset[best], 1)
    return float(shift), float(shift + slope_)


def _meet(one: tuple[FloatArray, FloatArray], two: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Where two lines, each through two points, cross."""
    a, b = one[1] - one[0], two[1] - two[0]
    det = a[0] * b[1] - a[1] * b[0]
    if abs(det) < 1e-9:
        return np.full(2, np.nan)
    away = two[0] - one[0]
    return np.asarray(one[0] + a * (away[0] * b[1] - away[1] * b[0]) / det)
