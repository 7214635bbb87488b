"""Bytes of a photo in, upright sRGB pixels out, with what the file says of time and lens and how good the photo is."""

from canopy.photo.decode import decode
from canopy.photo.image import Photo
from canopy.photo.light import clipped_share, light_kind
from canopy.photo.quality import check_quality, require_sharp
from canopy.photo.sharpness import edge_blur_px, laplacian_variance

__all__ = [
    "Photo",
    "check_quality",
    "clipped_share",
    "decode",
    "edge_blur_px",
    "laplacian_variance",
    "light_kind",
    "require_sharp",
]
