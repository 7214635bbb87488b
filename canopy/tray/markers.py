"""Finding the printed corner markers in a photo."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.settings import TraySettings
from canopy.tray.resample import shrunk

FloatArray = NDArray[np.float64]
Grey = NDArray[np.uint8]

IDS = (0, 1, 2, 3)
# A 4 × 4 marker is six modules wide: four of data and a black border of one.
MODULES = 6
# Directions from the tray's middle to corners 0..3, clockwise from A1's corner; also a marker's own corners in the
# order in which the detector gives them (from its top left, clockwise), its top edge pointing to row A's side.
CLOCKWISE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


@dataclass(frozen=True)
class SeenMarker:
    """One marker in the picture.

    Attributes
    ----------
    id : int
        0..3.
    corners_px : (4, 2) ndarray
        Its corners in decoded pixels, clockwise from its own top left.
    """

    id: int
    corners_px: FloatArray

    @property
    def centre_px(self) -> FloatArray:
        """Mean of the corners."""
        return np.asarray(self.corners_px.mean(axis=0))

    @property
    def side_px(self) -> float:
        """Mean length of the four sides."""
        return float(np.hypot(*(self.corners_px - np.roll(self.corners_px, 1, axis=0)).T).mean())


def marker_places_mm(layout: Layout, marker_id: int) -> tuple[FloatArray, FloatArray]:
    """Centre of a marker in tray mm, (2,), and its four corners relative to it, (4, 2)."""
    outward = CLOCKWISE[marker_id]
    centre = layout.outline_mm[marker_id] + outward * layout.markers.offset_mm
    return np.asarray(centre), CLOCKWISE * layout.markers.side_mm / 2


def find_markers(rgb: NDArray[np.uint8], *, settings: TraySettings) -> list[SeenMarker]:
    """All markers with ids 0..3 in a picture, their corners refined at full resolution, sorted by id.

    The picture is searched shrunk and plain first; while one of the four is missing, more thoroughly, larger and then
    with local contrast raised, with blur undone, and enlarged. An id may come out more than once: two trays in view.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
    settings : TraySettings
    """
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)
    found: list[SeenMarker] = []
    for number, (picture, scale) in enumerate(_tries(grey, settings)):
        for marker in _search(picture, settings, quick=number == 0):
            seen = SeenMarker(marker.id, _refine(grey, (marker.corners_px + 0.5) / scale - 0.5, settings))
            if not any(_same(seen, other) for other in found):
                found.append(seen)
        if {marker.id for marker in found} == set(IDS):
            break
    return sorted(found, key=lambda marker: (marker.id, *marker.centre_px))


def _tries(grey: Grey, settings: TraySettings) -> Iterator[tuple[Grey, float]]:
    """Pictures to search, quickest first, each with its size over the decoded size; made only when asked for."""
    full = float(max(grey.shape))
    small = min(1.0, settings.search_long_side_px / full)
    large = min(1.0, settings.second_search_long_side_px / full)
    clahe = partial(_raise_contrast, settings=settings)
    plan: list[tuple[float, Callable[[Grey], Grey] | None]] = [(small, None), (small, None), (small, clahe)]
    if large > small:
        plan += [(large, None), (large, clahe)]
    plan += [(large, partial(_sharpen, settings=settings))]
    if 2 * full <= settings.second_search_long_side_px:
        plan += [(2.0, None), (2.0, clahe)]
    for scale, change in plan:
        picture = _resize(grey, scale)
        yield (picture if change is None else change(picture)), scale


def _resize(grey: Grey, scale: float) -> Grey:
    if scale == 1:
        return grey
    size = (round(grey.shape[1] * scale), round(grey.shape[0] * scale))
    if scale > 1:
        return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_CUBIC), np.uint8)
    return shrunk(grey, *size)


def _raise_contrast(grey: Grey, *, settings: TraySettings) -> Grey:
    tiles = (settings.contrast_tiles, settings.contrast_tiles)
    return np.asarray(cv2.createCLAHE(settings.contrast_limit, tiles).apply(grey), np.uint8)


def _sharpen(grey: Grey, *, settings: TraySettings) -> Grey:
    soft = cv2.GaussianBlur(grey, (0, 0), settings.sharpen_px)
    return np.asarray(cv2.addWeighted(grey, 1 + settings.sharpen_amount, soft, -settings.sharpen_amount, 0), np.uint8)


def marker_bits(marker_id: int) -> NDArray[np.bool_]:
    """(6, 6) bool, True where a module of the marker is black."""
    return np.asarray(cv2.aruco.generateImageMarker(_dictionary(), marker_id, MODULES) == 0)


@cache
def _dictionary() -> Any:
    """The four markers in use, out of DICT_4X4_50: fewer false alarms, and quicker."""
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    return cv2.aruco.Dictionary(whole.bytesList[: len(IDS)], whole.markerSize, whole.maxCorrectionBits)


def _search(grey: Grey, settings: TraySettings, *, quick: bool = False) -> list[SeenMarker]:
    """Markers in a picture as it is; parted into black and white in one way if `quick`, else in three."""
    parameters = cv2.aruco.DetectorParameters()
    if quick:
        parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = settings.quick_window_px
    parameters.minMarkerPerimeterRate = 4 * settings.min_marker_side_px / max(grey.shape)
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE  # done at full resolution afterwards
    corners, ids, _ = cv2.aruco.ArucoDetector(_dictionary(), parameters).detectMarkers(grey)
    if ids is None:
        return []
    return [
        SeenMarker(int(marker_id), np.asarray(quad, np.float64).reshape(4, 2))
        for marker_id, quad in zip(np.ravel(ids), corners, strict=True)
    ]


def _refine(grey: Grey, corners_px: FloatArray, settings: TraySettings) -> FloatArray:
    """Move corners to sub-pixel places; the window stays inside one module so that no other edge pulls."""
    module_px = SeenMarker(0, corners_px).side_px / MODULES
    half = max(2, round(settings.refine_share * module_px))
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 50, 0.005)
    start = corners_px.astype(np.float32).reshape(-1, 1, 2)
    refined = cv2.cornerSubPix(grey, start, (half, half), (-1, -1), criteria)
    return np.asarray(refined, np.float64).reshape(4, 2)


def _same(one: SeenMarker, other: SeenMarker) -> bool:
    apart = float(np.hypot(*(one.centre_px - other.centre_px)))
    return one.id == other.id and apart < max(one.side_px, other.side_px) / 2
