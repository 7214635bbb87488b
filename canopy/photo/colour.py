"""Embedded colour profiles: Display P3, Adobe RGB, grey and CMYK profiles come out as sRGB."""

from __future__ import annotations

import io
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

# Rows converted at a time: 256 rows of 4000 pixels stay in the cache, and no second full-size picture is held.
_STRIP_ROWS = 256
_SPACE_OF_MODE = {"RGB": "RGB ", "L": "GRAY", "CMYK": "CMYK"}


def array_to_srgb(rgb: NDArray[np.uint8], icc: bytes, *, grey: bool = False) -> NDArray[np.uint8]:
    """Apply an embedded profile to decoded pixels, in place where it can.

    Parameters
    ----------
    rgb : (M, N, 3) uint8 ndarray
        Code values in the profile's space.
    icc : bytes
        ICC profile; empty, unreadable or of another kind of colour: the values are taken for sRGB.
    grey : bool
        The file holds one channel (the three are equal).

    Returns
    -------
    (M, N, 3) uint8 ndarray
        sRGB code values, relative colorimetric; what lies outside sRGB is clipped.
    """
    if grey:
        transform = _transform(icc, "L")
        if transform is None:
            return array_to_srgb(rgb, icc)  # grey pictures often carry an RGB profile
        return np.array(ImageCms.applyTransform(Image.fromarray(rgb[..., 0]), transform))
    transform = _transform(icc, "RGB")
    if transform is None:
        return rgb
    for top in range(0, rgb.shape[0], _STRIP_ROWS):
        strip = Image.fromarray(rgb[top : top + _STRIP_ROWS])
        ImageCms.applyTransform(strip, transform, inPlace=True)
        rgb[top : top + _STRIP_ROWS] = np.asarray(strip)
    return rgb


def image_to_srgb(image: Image.Image, icc: bytes) -> Image.Image:
    """The same for a Pillow picture of mode L, RGB or CMYK; CMYK without a profile is converted by 255 − c − k."""
    transform = _transform(icc, image.mode)
    if transform is not None:
        return ImageCms.applyTransform(image, transform) or image
    if image.mode == "RGB":
        return image
    rgb = image.convert("RGB")
    return image_to_srgb(rgb, icc) if image.mode == "L" else rgb


@cache
def _srgb() -> Any:
    return ImageCms.createProfile("sRGB")


def _transform(icc: bytes, mode: str) -> ImageCms.ImageCmsTransform | None:
    """Transform to sRGB; None when there is nothing to do or the profile cannot be used."""
    if not icc:
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        if profile.profile.xcolor_space != _SPACE_OF_MODE.get(mode):
            return None
        transform = ImageCms.buildTransform(
            profile, _srgb(), mode, "RGB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
        )
    except (ImageCms.PyCMSError, OSError, TypeError):
        return None
    return None if mode == "RGB" and _changes_nothing(transform) else transform


def _changes_nothing(transform: ImageCms.ImageCmsTransform) -> bool:
    """True for the many profiles that are sRGB under some name: no sample colour moves by more than one code."""
    steps = np.linspace(0, 255, 6).astype(np.uint8)
    colours = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
    moved = np.asarray(ImageCms.applyTransform(Image.fromarray(colours), transform))
    return bool(np.abs(moved.astype(int) - colours).max() <= 1)
