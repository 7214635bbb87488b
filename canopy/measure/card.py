"""The colour card beside the tray: its patches looked at in the photo, bad ones left out, a map fitted to the rest."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from canopy.errors import UsageError, did_you_mean
from canopy.measure.colour import FloatArray, codes_to_linear, lab_to_linear
from canopy.measure.correction import FEWEST_PATCHES, LUMINANCE, Correction, fit_correction, left_out_differences
from canopy.records import ColourCard
from canopy.settings import PhotoSettings
from canopy.settings.light import LightSettings

ToPx = Callable[[FloatArray], FloatArray]
"""Tray mm → pixels of the decoded photo; (n, 2) → (n, 2)."""


def named_card(settings: LightSettings) -> ColourCard | None:
    """The card that the settings name; None where they name none.

    Raises
    ------
    UsageError
        No such card.
    """
    if not settings.card:
        return None
    known = {**shipped_cards(), **{card.name: card for card in settings.cards}}
    if settings.card not in known:
        hint = did_you_mean(settings.card, list(known), after=" ")
        raise UsageError(f"`measure.light.card`: no card `{settings.card}`; {hint}known: {', '.join(known)}")
    return known[settings.card]


def card_correction(
    rgb: NDArray[np.uint8], to_px: ToPx, card: ColourCard, *, settings: LightSettings, photo: PhotoSettings
) -> Correction | None:
    """The map fitted to the card; None when fewer than six patches can be relied on.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        The decoded photo, sRGB; the card may lie anywhere in it, in the plane of the tray's rim.
    to_px : callable
        Tray mm → pixels of `rgb`.
    card : ColourCard
    settings : LightSettings
    photo : PhotoSettings
        What counts as clipped.
    """
    seen = patch_colours(rgb, to_px, card, settings=settings, photo=photo)
    known = lab_to_linear([patch.lab for patch in card.patches])
    good = ~np.isnan(seen).any(axis=1)
    seen, known = seen[good], known[good]
    while len(seen) >= FEWEST_PATCHES:
        away = left_out_differences(seen, known)
        worst = int(np.argmax(away))
        if away[worst] <= max(settings.patch_outlier_de, 4 * float(np.median(away))) or len(seen) == FEWEST_PATCHES:
            return fit_correction(seen, known)
        seen, known = np.delete(seen, worst, axis=0), np.delete(known, worst, axis=0)
    return None


def patch_colours(
    rgb: NDArray[np.uint8], to_px: ToPx, card: ColourCard, *, settings: LightSettings, photo: PhotoSettings
) -> FloatArray:
    """(n, 3) mean linear colour of each patch; NaN for one that is outside, clipped or partly shaded."""
    reach = np.linspace(-0.5, 0.5, settings.patch_points) * card.patch_mm * settings.patch_share
    around = np.stack(np.meshgrid(reach, reach), axis=-1).reshape(-1, 2)
    middles = np.array([(patch.x_mm, patch.y_mm) for patch in card.patches])
    spots = _on_the_tray((middles[:, None] + around).reshape(-1, 2), settings)
    codes, inside = look_at(rgb, to_px(spots))
    codes, inside = codes.reshape(len(middles), -1, 3), inside.reshape(len(middles), -1)
    linear = codes_to_linear(codes)
    luminance = linear @ LUMINANCE
    level = luminance.mean(axis=1)
    spread = np.divide(luminance.std(axis=1), level, out=np.full(len(middles), np.inf), where=level > 0)
    clipped = clipped_codes(codes, photo).mean(axis=1)
    good = inside.all(axis=1) & (clipped <= settings.patch_clipped_max) & (spread <= settings.patch_spread_max)
    return np.where(good[:, None], linear.mean(axis=1), np.nan)


def look_at(rgb: NDArray[np.uint8], points_px: FloatArray) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Codes at the pixels nearest to points, (n, 3), and whether they lie in the picture, (n,)."""
    height, width = rgb.shape[:2]
    nearest = np.rint(np.nan_to_num(points_px, nan=-9.0)).clip(-9, max(height, width) + 9).astype(np.intp)
    inside = np.asarray(((nearest >= 0) & (nearest < (width, height))).all(axis=1), np.bool_)
    column, row = np.where(inside[:, None], nearest, 0).T
    return rgb[row, column], inside


def clipped_codes(codes: NDArray[np.uint8], photo: PhotoSettings) -> NDArray[np.bool_]:
    """True where a colour is lost: a channel at the top, or all at the bottom; (..., 3) → (...)."""
    return np.asarray((codes >= photo.clipped_code).any(axis=-1) | (codes <= photo.black_code).all(axis=-1))


def _on_the_tray(points_mm: FloatArray, settings: LightSettings) -> FloatArray:
    """Points of the card in tray mm."""
    turn = np.radians(settings.card_turn_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return np.asarray(points_mm @ rotation + (settings.card_x_mm, settings.card_y_mm))


@cache
def shipped_cards() -> dict[str, ColourCard]:
    """Cards known by name, the printed sheet's own among them."""
    tables = tomllib.loads(files("canopy.measure").joinpath("cards.toml").read_text("utf-8"))
    return {name: ColourCard(name=name, **table) for name, table in tables.items()}
