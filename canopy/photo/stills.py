"""PNG, TIFF, WebP, still GIF and HEIC/HEIF: pixels and metadata through Pillow and libheif."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from canopy.errors import PhotoUnreadable
from canopy.photo.colour import image_to_srgb
from canopy.photo.exif import Tags, orientation_of, read_tags, tags_of
from canopy.settings import PhotoSettings

_FORMATS = ("PNG", "TIFF", "WEBP", "GIF")
_ANIMATED = frozenset({"PNG", "WEBP", "GIF"})  # a TIFF or HEIC with several pictures is read by its first
_SIGNATURES = (b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"GIF87a", b"GIF89a")
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})


@dataclass(frozen=True)
class Still:
    """Pixels as stored, in sRGB, and what comes with them.

    Attributes
    ----------
    rgb : (M, N, 3) uint8 ndarray
    tags : dict
        EXIF tags, see `canopy.photo.exif`.
    orientation : int
        EXIF orientation still to be applied, 1..8.
    """

    rgb: NDArray[np.uint8]
    tags: Tags
    orientation: int


def decode_still(data: bytes, *, name: str, settings: PhotoSettings) -> Still:
    """Decode anything but JPEG.

    Sixteen-bit channels keep their upper eight bits (the codes stay within one of the rounded value). See-through
    pixels are laid on a mid grey, because what hides below an alpha of 0 is whatever the writing program left there.

    Raises
    ------
    PhotoUnreadable
        `not_an_image`, `truncated`, `animated`, `too_large` or `too_small`.
    """
    if data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS:
        return _decode_heif(data, name=name, settings=settings)
    known = data.startswith(_SIGNATURES) or (data.startswith(b"RIFF") and data[8:12] == b"WEBP")
    if not known:
        raise PhotoUnreadable(
            "not_an_image", f"{name}: not a picture; save it as JPEG, PNG, TIFF, WebP or HEIC, or remove it"
        )
    # Pillow warns of large pictures and odd metadata; our own size limit decides, and odd metadata is as good as none.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return _decode_pillow(data, name=name, settings=settings)
        except Image.DecompressionBombError:
            raise _too_large(name, "more than 178 megapixels", settings) from None
        except (PhotoUnreadable, MemoryError):
            raise
        except Exception as error:  # decoders raise a dozen kinds on damaged bytes; each means the same to a grower
            raise _damaged(name, error) from None


def require_size(width: int, height: int, *, name: str, settings: PhotoSettings) -> None:
    """Refuse by the size that the header claims, before anything is decoded.

    Raises
    ------
    PhotoUnreadable
        `too_large` or `too_small`.
    """
    if width * height > settings.max_megapixels * 1e6:
        raise _too_large(name, f"{width} × {height} pixels", settings)
    if min(width, height) < settings.min_side_px:
        raise PhotoUnreadable(
            "too_small",
            f"{name}: {width} × {height} pixels, fewer than {settings.min_side_px} on a side; send the original photo",
        )


def _too_large(name: str, claim: str, settings: PhotoSettings) -> PhotoUnreadable:
    return PhotoUnreadable(
        "too_large", f"{name}: claims {claim}, over {settings.max_megapixels:g} megapixels; save the photo smaller"
    )


def _damaged(name: str, error: Exception) -> PhotoUnreadable:
    said = " ".join(str(error).split()) or type(error).__name__
    return PhotoUnreadable("truncated", f"{name}: picture is cut short or damaged ({said}); copy the photo again")


def _decode_pillow(data: bytes, *, name: str, settings: PhotoSettings) -> Still:
    with Image.open(io.BytesIO(data), formats=_FORMATS) as image:
        require_size(*image.size, name=name, settings=settings)
        if image.format in _ANIMATED and getattr(image, "is_animated", False):
            raise PhotoUnreadable("animated", f"{name}: an animation, not a photo; save one frame as JPEG or PNG")
        icc = image.info.get("icc_profile") or b""
        image.load()
        # Read after loading: Pillow has by then turned a TIFF and dropped its orientation.
        tags = tags_of(image.getexif())
        rgb = _to_rgb(image, icc, name=name, settings=settings)
    return Still(rgb, tags, orientation_of(tags))


def _decode_heif(data: bytes, *, name: str, settings: PhotoSettings) -> Still:
    import pillow_heif  # loads libheif; only phones with this format pay for it

    try:
        heif = pillow_heif.open_heif(data)
        require_size(*heif.size, name=name, settings=settings)
        image = heif.to_pillow()
    except (PhotoUnreadable, MemoryError):
        raise
    except Exception as error:  # see decode_still
        raise _damaged(name, error) from None
    rgb = _to_rgb(image, heif.info.get("icc_profile") or b"", name=name, settings=settings)
    # ISO/IEC 23008-12: turning is a property of the item, which libheif has applied; EXIF orientation is only a note.
    return Still(rgb, read_tags(heif.info.get("exif") or b""), 1)


def _to_rgb(image: Image.Image, icc: bytes, *, name: str, settings: PhotoSettings) -> NDArray[np.uint8]:
    """Bring any kind of pixel to (M, N, 3) sRGB."""
    if image.mode.startswith("I;16"):
        grey = Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
        return np.array(image_to_srgb(grey, icc))
    if image.mode in ("I", "F", "LAB"):
        raise PhotoUnreadable(
            "not_an_image", f"{name}: pixels of kind {image.mode} are no photo's; save it with 8 or 16 bits per channel"
        )
    if image.has_transparency_data:
        rgba = image.convert("RGBA")
        rgb = np.array(image_to_srgb(rgba.convert("RGB"), icc))
        return _lay_on_grey(rgb, np.asarray(rgba.getchannel("A")), code=settings.matte_code)
    if image.mode == "1":
        image = image.convert("L")
    return np.array(image_to_srgb(image if image.mode in ("L", "RGB", "CMYK") else image.convert("RGB"), icc))


def _lay_on_grey(rgb: NDArray[np.uint8], alpha: NDArray[np.uint8], *, code: int) -> NDArray[np.uint8]:
    share = cv2.merge([alpha] * 3).astype(np.float32) / 255
    return np.rint(rgb * share + code * (1 - share)).astype(np.uint8)
