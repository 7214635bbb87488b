"""How plants would look in even white light: what the photo tells of the light, and colours less its effect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.measure.card import card_correction, named_card
from canopy.measure.colour import FloatArray, codes_to_linear, linear_to_srgb
from canopy.measure.correction import NO_CORRECTION, Correction, balance
from canopy.measure.gainfield import GainField, fit_gain_field
from canopy.measure.whites import marker_white
from canopy.photo.image import Photo
from canopy.records import Layout, Remark
from canopy.segment.result import Segmentation
from canopy.settings import PhotoSettings, Settings
from canopy.settings.light import LightSettings
from canopy.tray.frame import Frame
from canopy.tray.rectify import Rectified

_NODE_PX = 16
"""Spacing at which the field is worked out; it changes by less than a code value over so few pixels."""


@dataclass(frozen=True)
class Relight:
    """What is taken out of colours before their indices are read.

    Attributes
    ----------
    correction : Correction
        For the whole picture.
    field : GainField or None
        Uneven light.
    ln_gain : (m, n, 3) float32 ndarray or None
        The field on every `_NODE_PX`-th pixel of the rectified picture.
    width_px : int
        Of the rectified picture.
    card_unseen : bool
        A card is named in the settings, but too few of its patches are seen well.
    """

    correction: Correction = NO_CORRECTION
    field: GainField | None = None
    ln_gain: NDArray[np.float32] | None = None
    width_px: int = 0
    card_unseen: bool = False

    def repairs_cast(self, settings: LightSettings) -> bool:
        """True when the light's colour is known and not too far from white to be undone."""
        by_card = self.correction.source == "card" and self.correction.left_out_median <= settings.card_doubtful_de
        return by_card or (self.correction.source == "markers" and _steepest(self.correction) <= settings.balance_max)

    @property
    def changes_nothing(self) -> bool:
        """True when colours stay as they are."""
        return self.correction.kind == "none" and self.field is None

    def linear(self, rgb: NDArray[np.uint8], flat: NDArray[np.intp], *, brightness: bool = True) -> FloatArray:
        """Linear light 0..1, (n, 3), of pixels of the rectified picture, given by index, as in even white light.

        Without `brightness` only the light's colour is evened: ratios of channels need no more, and a camera's tone
        curve bends what is brightened.
        """
        linear = codes_to_linear(rgb.reshape(-1, 3).take(flat, axis=0))
        if self.ln_gain is not None:
            row, column = np.divmod(flat, self.width_px)
            ln_gain = self.ln_gain if brightness else self.ln_gain - self.ln_gain.mean(axis=2, keepdims=True)
            linear = linear * np.exp(-ln_gain)[row // _NODE_PX, column // _NODE_PX]
        return np.clip(self.correction(linear), 0, 1)

    def codes(
        self, rgb: NDArray[np.uint8], flat: NDArray[np.intp], *, brightness: bool = True
    ) -> NDArray[np.uint8] | FloatArray:
        """The same as sRGB code values: 8-bit as they are when nothing is corrected, else 0..255 floats."""
        if self.changes_nothing:
            return rgb.reshape(-1, 3).take(flat, axis=0)
        return np.asarray(255 * linear_to_srgb(self.linear(rgb, flat, brightness=brightness)))


def read_light(
    photo: Photo,
    frame: Frame,
    rectified: Rectified,
    segmentation: Segmentation,
    layout: Layout,
    *,
    settings: Settings,
) -> Relight:
    """What is known of the light: from the card, else from the markers' white; and the field over the tray.

    Parameters
    ----------
    photo, frame : Photo, Frame
        The decoded photo and where the tray lies in it: card and markers are looked at there.
    rectified, segmentation : Rectified, Segmentation
        Ground that is clear of plants tells how even the light is.
    layout : Layout
    settings : Settings
        `measure.light`, and what counts as clipped in `photo`.
    """
    look = settings.measure.light
    card = named_card(look)
    by_card = None
    if card is not None:
        by_card = card_correction(photo.rgb, frame.to_px, card, settings=look, photo=settings.photo)
    correction = by_card or _by_markers(photo, frame, layout, settings=look, photo_settings=settings.photo)
    unseen, width_px = card is not None and by_card is None, rectified.rgb.shape[1]
    field = fit_gain_field(rectified, segmentation, layout, settings=look.gain)
    nodes = None if field is None else _on_nodes(field, rectified)
    return Relight(correction, field, nodes, width_px, unseen)


def light_remarks(light: Relight, *, settings: LightSettings) -> tuple[Remark, ...]:
    """What the reading says of the light and of what was taken out of the colours.

    Codes `colour_corrected` and `uneven_light` (notes), `card_unseen`, `card_doubtful` and `colour_cast` (doubts; the
    last two withhold the colour criteria).
    """
    found, correction = [], light.correction
    if light.card_unseen:
        text = f"card {settings.card} shows fewer than six good patches; lay it flat, unshaded, at the place you gave"
        found.append(Remark("card_unseen", text))
    if correction.source == "card":
        figures = (
            f"card of {correction.patches} patches, {correction.kind} fit, CIEDE2000 median "
            f"{correction.residual_median:.1f}, worst {correction.residual_worst:.1f}, "
            f"left out {correction.left_out_median:.1f}"
        )
        good = light.repairs_cast(settings)
        text = f"colours corrected: {figures}" if good else f"colours are doubtful: {figures}; clean or renew the card"
        found.append(Remark("colour_corrected" if good else "card_doubtful", text))
    if correction.source == "markers" and not light.repairs_cast(settings):
        text = (
            f"white looks coloured: one channel needs {_steepest(correction):.1f} times another's gain "
            f"(at most {settings.balance_max:g}); colours are doubtful"
        )
        found.append(Remark("colour_cast", text))
    if light.field is not None and light.field.spread >= settings.gain.said_from:
        text = f"light differs by ±{100 * light.field.spread:.0f} % over the tray; colours are evened, areas not"
        found.append(Remark("uneven_light", text))
    return tuple(found)


def _by_markers(
    photo: Photo, frame: Frame, layout: Layout, *, settings: LightSettings, photo_settings: PhotoSettings
) -> Correction:
    if settings.white_from_markers and frame.located_by in ("markers", "3 markers"):
        white = marker_white(photo.rgb, frame.to_px, layout, settings=settings, photo=photo_settings)
        if white is not None:
            return balance(white, source="markers")
    return NO_CORRECTION


def _steepest(correction: Correction) -> float:
    """Largest ratio of two channels' gains."""
    gains = np.diag(correction.matrix)
    return float(gains.max() / gains.min())


def _on_nodes(field: GainField, rectified: Rectified) -> NDArray[np.float32]:
    rows, columns = (-(-side // _NODE_PX) for side in rectified.rgb.shape[:2])
    y, x = np.mgrid[:rows, :columns] * _NODE_PX + (_NODE_PX - 1) / 2
    ln_gain = field.ln_gain(rectified.to_mm(np.stack([x.ravel(), y.ravel()], axis=1)))
    return np.asarray(ln_gain.reshape(rows, columns, 3), np.float32)
