"""The grid of cells from the picture: each cell is compared with the typical one, and where it lies is measured.

Nothing is known of what a cell looks like: the typical cell is the median of all of them, so walls, pots, holes, cubes
or the plants themselves serve alike. A grid that is laid wrongly over the picture has cells that agree with nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.fit import fit_homography
from canopy.tray.frame import apply_homography
from canopy.tray.period import period_px
from canopy.tray.straight import Straight, straighten

FloatArray = NDArray[np.float64]
FloatImage = NDArray[np.float32]

_PATCH = 1.25  # side of the compared patch in pitches: one cell with its walls
_WIDE_PATCH = 2.0  # the same for centring: half a turn about a middle up to a quarter pitch away must fit in
_STRAIGHTENED_AGAIN = 1  # before this round of the search, by what the rounds before found
_HOMOGRAPHY_FROM = 12  # cells that agree; fewer fix a turn, a shift and scales only
_AFFINE_FROM = 4


@dataclass(frozen=True)
class Grid:
    """How well a grid lies on a picture.

    Attributes
    ----------
    px_from_mm : (3, 3) ndarray
        Tray mm → photo pixels, moved onto the cells.
    agree : (rows, columns) bool ndarray
        Cells found at their places.
    likeness : (rows, columns) ndarray
        Correlation of each cell with the typical one, −1..1.
    spread : float
        Root mean square distance of the cells that agree from their places, in pitches.
    places_mm, found_px : (rows × columns, 2) ndarray
        Centres of all cells, and where in the photo each is most like the typical one.
    firmness : float
        Share of cells that agree, times one minus their squared spread over that of places scattered evenly within
        reach of agreement: 1 for all cells exactly in place, about 0 for chance.
    """

    px_from_mm: FloatArray
    agree: NDArray[np.bool_]
    likeness: FloatArray
    spread: float
    places_mm: FloatArray
    found_px: FloatArray
    firmness: float

    @property
    def cells_mm(self) -> FloatArray:
        """(n, 2) centres of the cells that agree."""
        return self.places_mm[self.agree.ravel()]

    @property
    def cells_px(self) -> FloatArray:
        """(n, 2) where the photo shows them."""
        return self.found_px[self.agree.ravel()]

    @property
    def share(self) -> float:
        """Share of the tray's cells that agree."""
        return float(self.agree.mean())

    @property
    def weakest_side(self) -> float:
        """Likeness of the least alike of the four sides' cells over that of all; low where a side lies off the tray."""
        sides = (self.likeness[0], self.likeness[-1], self.likeness[:, 0], self.likeness[:, -1])
        return float(min(np.median(side) for side in sides) / max(float(np.median(self.likeness)), 1e-6))


def lay_grid(rgb: NDArray[np.uint8], px_from_mm: FloatArray, layout: Layout, *, settings: UnaidedSettings) -> Grid:
    """Move a first mapping (right to about a third of a pitch) onto the cells and say how well they agree.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        The photo.
    px_from_mm : (3, 3) ndarray
        Tray mm → photo pixels.
    layout : Layout
    settings : UnaidedSettings
    """
    places = layout.centres_mm()
    pitch = np.array([layout.pitch_x_mm, layout.pitch_y_mm])
    straight = straighten(rgb, px_from_mm, layout, settings=settings)
    change = _scaling(straight, pitch, layout, settings)
    change = change @ _centring(straight, apply_homography(change, places), pitch)
    found, likeness = places, np.zeros(len(places))
    for number, reach in enumerate((settings.first_reach, settings.reach, settings.reach)):
        if number == _STRAIGHTENED_AGAIN:
            px_from_mm, change = px_from_mm @ change, np.eye(3)
            straight = straighten(rgb, px_from_mm, layout, settings=settings)
        expected = apply_homography(change, places)
        found, likeness = _seek(straight, expected, _typical_cell(straight, expected, pitch), pitch, reach)
        change = _agreement(places, found, pitch, change, settings)
    miss = np.hypot(*((found - apply_homography(change, places)) / pitch).T)
    shape = (layout.rows, layout.columns)
    grid = Grid(
        px_from_mm=np.asarray(px_from_mm @ change),
        agree=np.zeros(shape, bool),
        likeness=likeness.reshape(shape),
        spread=settings.agree_within,
        places_mm=places,
        found_px=apply_homography(px_from_mm, found),
        firmness=0.0,
    )
    return judged(grid, miss, settings=settings)


def judged(grid: Grid, miss: FloatArray, *, settings: UnaidedSettings) -> Grid:
    """The grid with its agreement by how far each cell was found from its place, in pitches; (rows × columns,)."""
    agree = miss < settings.agree_within
    spread = float(np.sqrt(np.mean(miss[agree] ** 2))) if agree.any() else settings.agree_within
    scattered = settings.agree_within**2 / 2  # mean square distance from its middle of points spread over a disc
    firmness = float(agree.mean() * (1 - spread**2 / scattered))
    return replace(grid, agree=agree.reshape(grid.agree.shape), spread=spread, firmness=firmness)


def _patches(straight: Straight, centres_mm: FloatArray, pitch: FloatArray, side: float) -> FloatImage:
    """(n, h, w, 3) patches around cells, `side` pitches wide; odd numbers of pixels."""
    size = tuple(2 * int(side * p / straight.step_mm / 2) + 1 for p in pitch)
    return np.stack([_cut(straight, x, y, size) for x, y in straight.to_px(centres_mm)])


def _cut(straight: Straight, x: float, y: float, size: tuple[int, ...]) -> FloatImage:
    width, height = size
    return np.asarray(cv2.getRectSubPix(straight.pixels, (width, height), (float(x), float(y))), np.float32)


def _typical_cell(straight: Straight, centres_mm: FloatArray, pitch: FloatArray) -> FloatImage:
    """Median of all cells, made symmetric by half a turn so that its own middle is the cell's."""
    middle = np.median(_patches(straight, centres_mm, pitch, _PATCH), axis=0)
    return np.asarray((middle + middle[::-1, ::-1]) / 2, np.float32)


def _scaling(straight: Straight, pitch: FloatArray, layout: Layout, settings: UnaidedSettings) -> FloatArray:
    """Stretch about the tray's middle that brings the picture's own period to the pitch, in x and y."""
    first, last = (np.rint(straight.to_px(layout.outline_mm[k])).astype(int) for k in (0, 2))
    tray = straight.pixels[first[1] : last[1], first[0] : last[0]]
    factors = []
    for along, turned in ((0, tray), (1, tray.transpose(1, 0, 2))):
        expected = float(pitch[along] / straight.step_mm)
        period, strength = period_px(turned, expected_px=expected, within=settings.period_within)
        factors.append(period / expected if strength >= settings.period_strength else 1.0)
    x, y = layout.outline_mm.mean(axis=0)
    return np.array([[factors[0], 0, x * (1 - factors[0])], [0, factors[1], y * (1 - factors[1])], [0, 0, 1.0]])


def _centring(straight: Straight, centres_mm: FloatArray, pitch: FloatArray) -> FloatArray:
    """Shift in mm that brings the typical cell into its own middle, at most a quarter of a pitch.

    Turned by half a turn about where the middle should be, it is found again twice as far off as the middle is.
    """
    middle = np.asarray(np.median(_patches(straight, centres_mm, pitch, _WIDE_PATCH), axis=0), np.float32)
    reach_x, reach_y = (max(1, int(0.5 * p / straight.step_mm)) for p in pitch)
    turned = np.ascontiguousarray(middle[::-1, ::-1][reach_y:-reach_y, reach_x:-reach_x])
    x, y = np.array(_peak(middle, turned)[:2]) / 2 * straight.step_mm
    return np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]])


def _seek(
    straight: Straight, expected_mm: FloatArray, typical: FloatImage, pitch: FloatArray, reach: float
) -> tuple[FloatArray, FloatArray]:
    """Where each cell matches the typical one best, mm, and their correlation there."""
    height, width = typical.shape[:2]
    room_x, room_y = (max(2, int(np.ceil(reach * p / straight.step_mm))) for p in pitch)
    size = (width + 2 * room_x, height + 2 * room_y)
    peaks = np.array([_peak(_cut(straight, x, y, size), typical) for x, y in straight.to_px(expected_mm)])
    return expected_mm + peaks[:, :2] * straight.step_mm, peaks[:, 2]


def _peak(window: FloatImage, patch: FloatImage) -> tuple[float, float, float]:
    """Shift of the patch's best match from the window's middle, finer than a pixel, and their correlation there."""
    score = cv2.matchTemplate(window, patch, cv2.TM_CCORR_NORMED)
    _, best, _, (col, row) = cv2.minMaxLoc(score)
    dx = col + _vertex(np.asarray(score[row], np.float32), col) - (score.shape[1] - 1) / 2
    dy = row + _vertex(np.asarray(score[:, col], np.float32), row) - (score.shape[0] - 1) / 2
    return dx, dy, best


def _vertex(values: FloatImage, at: int) -> float:
    """Top of the parabola through a maximum and its neighbours, as a shift of at most half."""
    if not 0 < at < len(values) - 1:
        return 0.0
    left, middle, right = (float(v) for v in values[at - 1 : at + 2])
    bend = left - 2 * middle + right
    return 0.0 if bend >= 0 else float(np.clip((left - right) / (2 * bend), -0.5, 0.5))


def _agreement(
    places: FloatArray, found: FloatArray, pitch: FloatArray, before: FloatArray, settings: UnaidedSettings
) -> FloatArray:
    """Mapping places → found that most cells agree on (RANSAC, Fischler & Bolles 1981); as before where too few do."""
    threshold = 2 * settings.agree_within * float(pitch.min())
    affine, inliers = cv2.estimateAffine2D(places, found, method=cv2.RANSAC, ransacReprojThreshold=threshold)
    if affine is None or inliers.sum() < _AFFINE_FROM:
        return before
    change = np.vstack([affine, [0, 0, 1.0]])
    for _ in range(3):
        miss = np.hypot(*(found - apply_homography(change, places)).T)
        near = miss < threshold
        if near.sum() < _HOMOGRAPHY_FROM:
            break
        change = fit_homography(places[near], found[near])
        change = change / change[2, 2]
    return np.asarray(change)
