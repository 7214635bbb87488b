"""The white of the corner markers, a grey reference that is in every photo of a tray with markers."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from canopy.measure.card import ToPx, look_at
from canopy.measure.colour import FloatArray, codes_to_linear
from canopy.measure.correction import LUMINANCE
from canopy.records import Layout
from canopy.settings import PhotoSettings
from canopy.settings.light import LightSettings
from canopy.tray.markers import IDS, MODULES, marker_bits, marker_places_mm

# Offsets inside a module, in modules: well clear of its edges, where ink and paper mix.
_INSIDE = np.stack(np.meshgrid([-0.2, 0.0, 0.2], [-0.2, 0.0, 0.2]), axis=-1).reshape(-1, 2)


def marker_white(
    rgb: NDArray[np.uint8], to_px: ToPx, layout: Layout, *, settings: LightSettings, photo: PhotoSettings
) -> FloatArray | None:
    """Linear colour of the markers' white paper, (3,): the median over the markers that show it well.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        The decoded photo, sRGB.
    to_px : callable
        Tray mm → pixels of `rgb`.
    layout : Layout
    settings : LightSettings
    photo : PhotoSettings
        What counts as clipped.

    Returns
    -------
    (3,) ndarray or None
        None where no marker shows white that is neither clipped nor covered. Markers in shade count by their colour as
        much as those in light: each is brought to luminance 1 first.
    """
    whites = [white for number in IDS if (white := _white_of(number, rgb, to_px, layout, settings, photo)) is not None]
    return np.asarray(np.median(whites, axis=0)) if whites else None


def _white_of(
    number: int,
    rgb: NDArray[np.uint8],
    to_px: ToPx,
    layout: Layout,
    settings: LightSettings,
    photo: PhotoSettings,
) -> FloatArray | None:
    """White of one marker at luminance 1; None when it is hidden, outside, or clipped."""
    white, black = _module_places(number)
    module_mm = layout.markers.side_mm / MODULES
    centre, _ = marker_places_mm(layout, number)
    light, dark = (_seen(rgb, to_px, centre + places * module_mm, photo) for places in (white, black))
    if light is None or dark is None:
        return None
    light_level, dark_level = float(light @ LUMINANCE), float(dark @ LUMINANCE)
    if light_level < settings.marker_contrast_min * max(dark_level, 1e-6) or light.min() <= 0:
        return None
    return np.asarray(light / light_level)


def _seen(rgb: NDArray[np.uint8], to_px: ToPx, points_mm: FloatArray, photo: PhotoSettings) -> FloatArray | None:
    """Median linear colour at points; None where they are not all seen, or half of the white is clipped."""
    codes, inside = look_at(rgb, to_px(points_mm))
    if not inside.all():
        return None
    lost = (codes >= photo.clipped_code).any(axis=1)
    if lost.mean() > 0.5:
        return None
    return np.asarray(np.median(codes_to_linear(codes[~lost]), axis=0))


@cache
def _module_places(number: int) -> tuple[FloatArray, FloatArray]:
    """Points inside the white and inside the black modules of a marker, from its middle, in modules."""
    light = ~marker_bits(number)
    places = np.stack(np.meshgrid(np.arange(MODULES), np.arange(MODULES)), axis=-1) - (MODULES - 1) / 2

    def inside(which: NDArray[np.bool_]) -> FloatArray:
        return np.asarray((places[which][:, None] + _INSIDE).reshape(-1, 2), np.float64)

    return inside(light), inside(~light)
