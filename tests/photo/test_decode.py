"""Every kind of file a phone or a program writes comes out upright and in sRGB, or is refused by name."""

import io
import struct
from datetime import datetime

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageOps

from canopy.errors import PhotoUnreadable
from canopy.photo import decode
from canopy.settings import PhotoSettings

from .files import exif_block, jpeg, png16, save, scene, tiff16

SETTINGS = PhotoSettings()


def read(data, **options):
    return decode(data, name="tray/one.jpg", settings=SETTINGS, **options)


# JPEG at quality 95 without chroma subsampling, a smooth picture: a few codes.
JPEG_TOLERANCE = 4


def assert_close(got, expected, *, codes):
    assert got.dtype == np.uint8
    assert got.shape == expected.shape
    assert np.abs(got.astype(int) - expected).max() <= codes


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_all_orientations(kind, orientation):
    options = {"exif": exif_block({0x0112: orientation})}
    options |= {"JPEG": {"quality": 95, "subsampling": 0}, "WEBP": {"lossless": True}}.get(kind, {})
    data = save(scene(), kind, **options)
    # Reference: Pillow's own reading of the same file and tag.
    expected = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))
    photo = read(data)
    assert_close(photo.rgb, expected, codes=2 if kind == "JPEG" else 0)  # two JPEG decoders round differently
    assert (photo.full_height_px, photo.full_width_px) == expected.shape[:2]
    assert photo.rgb.flags.c_contiguous


def test_orientation_by_hand():
    # EXIF 2.32: 6 = the stored picture's row 0 is the visual right-hand side, column 0 the top: turn clockwise.
    turned = read(jpeg(exif=exif_block({0x0112: 6}))).rgb
    assert_close(turned, np.rot90(scene(), -1), codes=JPEG_TOLERANCE)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_impossible_orientation_is_none(orientation):
    assert_close(read(jpeg(exif=exif_block({0x0112: orientation}))).rgb, scene(), codes=JPEG_TOLERANCE)


def test_heic_is_turned_once():
    # libheif applies the item's own rotation; the EXIF tag that repeats it must not turn the picture again.
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene())).save(out, exif=exif_block({0x0112: 6}), quality=95)
    photo = read(out.getvalue())
    assert_close(photo.rgb, np.rot90(scene(), -1), codes=12)  # chroma at half resolution at the corners' ramps
    assert (photo.full_width_px, photo.full_height_px) == (96, 160)


@pytest.mark.parametrize(
    ("asked", "reduction"), [(None, 1), (1600, 1), (801, 1), (800, 2), (401, 2), (400, 4), (200, 8), (1, 8), (9999, 1)]
)
def test_reduction_keeps_the_long_side(asked, reduction):
    photo = read(jpeg(scene(1600, 800)), min_long_side_px=asked)
    assert photo.reduction == reduction
    assert photo.rgb.shape == (800 // reduction, 1600 // reduction, 3)
    assert (photo.full_width_px, photo.full_height_px) == (1600, 800)


def test_reduced_pixels_lie_where_the_photo_says():
    # A full-size x lies at (x + 0.5)/r − 0.5: on a linear ramp, reduced pixel j shows the ramp at r·j + (r − 1)/2.
    ramp = np.rint(np.tile(np.linspace(20, 230, 1600), (160, 1))).astype(np.uint8)
    photo = read(jpeg(cv2.merge([ramp] * 3)), min_long_side_px=200)
    x = 8 * np.arange(200) + 3.5
    expected = 20 + 210 * x / 1599
    assert (
        np.abs(photo.rgb[10, 2:-2, 0] - expected[2:-2]).max() < 1.6
    )  # JPEG and 8-bit rounding; half a pixel is 0.5·8·0.13


def test_turned_odd_sizes_are_not_reduced():
    # 1601 is no multiple of 2: the decoder's padding column would come to lie at the left after turning.
    data = jpeg(scene(1601, 800), exif=exif_block({0x0112: 3}))
    assert read(data, min_long_side_px=300).reduction == 1
    assert read(jpeg(scene(1601, 800)), min_long_side_px=300).reduction == 4


@pytest.mark.parametrize("progressive", [False, True])
def test_grey_jpeg(progressive):
    grey = np.asarray(Image.fromarray(scene()).convert("L"))
    assert_close(read(jpeg(grey, progressive=progressive)).rgb, cv2.merge([grey] * 3), codes=JPEG_TOLERANCE)


def cmyk_pixels():
    rgb = scene()
    return Image.fromarray(rgb).convert("CMYK"), rgb


@pytest.mark.parametrize("reduction", [1, 2])
def test_cmyk_jpeg_as_adobe_writes_it(reduction):
    image, rgb = cmyk_pixels()  # Pillow writes inverted values with an Adobe segment, as Adobe programs do
    photo = read(jpeg(image), min_long_side_px=160 // reduction)
    expected = cv2.resize(rgb, None, fx=1 / reduction, fy=1 / reduction, interpolation=cv2.INTER_AREA)
    assert_close(photo.rgb, expected, codes=JPEG_TOLERANCE)
    assert photo.reduction == reduction


def test_cmyk_jpeg_without_adobe_segment_is_not_inverted():
    image, rgb = cmyk_pixels()
    data = jpeg(Image.eval(image, lambda code: 255 - code))
    at = data.index(b"\xff\xee")
    length = struct.unpack(">H", data[at + 2 : at + 4])[0]
    assert_close(read(data[:at] + data[at + 2 + length :]).rgb, rgb, codes=JPEG_TOLERANCE)


@pytest.mark.parametrize("write", [png16, tiff16])
def test_sixteen_bits(write):
    codes = scene().astype(np.uint16)
    # code·257 is the same colour in 16 bits; the upper byte is the code itself.
    assert_close(read(write(codes * 257)).rgb, scene(), codes=0)


def test_sixteen_bit_grey_png():
    grey = scene()[..., 0].astype(np.uint16)
    assert_close(read(png16(grey * 257)).rgb, cv2.merge([scene()[..., 0]] * 3), codes=0)


def test_alpha_is_laid_on_mid_grey():
    rgba = np.dstack([scene(), np.full(scene().shape[:2], 255, np.uint8)])
    rgba[:40, :50, 3] = 0
    rgba[40:60, :50, 3] = 51  # one fifth
    got = read(save(rgba, "PNG")).rgb
    assert (got[:40, :50] == 128).all()
    assert_close(got[40:60, :50], np.rint(0.2 * scene()[40:60, :50] + 0.8 * 128).astype(np.uint8), codes=0)
    assert_close(got[:, 50:], scene()[:, 50:], codes=0)


@pytest.mark.parametrize("kind", ["PNG", "GIF"])
def test_palette(kind):
    image = Image.fromarray(scene()).quantize(32)
    assert_close(read(save(image, kind)).rgb, np.asarray(image.convert("RGB")), codes=0)


def test_one_bit():
    bits = Image.fromarray(scene()[..., 0] > 120)
    assert set(np.unique(read(save(bits, "PNG")).rgb)) == {0, 255}


def refused(data, code, pattern):
    with pytest.raises(PhotoUnreadable, match=pattern) as caught:
        read(data)
    assert caught.value.code == code
    assert str(caught.value).startswith("tray/one.jpg: ")
    assert "\n" not in str(caught.value)


def test_empty_file():
    refused(b"", "empty_file", "file is empty; copy")


@pytest.mark.parametrize("data", [b"tray 1 was sown on Monday\n" * 40, bytes(range(256)) * 8, b"\0" * 5000, b"BM" * 99])
def test_not_a_picture(data):
    refused(data, "not_an_image", "save it as JPEG")


def test_random_bytes():
    refused(np.random.default_rng(1).bytes(10000), "not_an_image", "not a picture")


def test_random_bytes_after_a_jpeg_start():
    refused(b"\xff\xd8\xff\xe0\x00\x04ab" + b"\x12" * 100, "not_an_image", "header is damaged at byte 8")


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.99])
def test_truncated_jpeg(share):
    data = jpeg(scene(640, 480), exif=exif_block({0x0112: 1}))
    refused(data[: int(len(data) * share)], "truncated", "copy")


def test_truncated_jpeg_with_a_thumbnail():
    # The thumbnail in the EXIF block has an end marker of its own, which must not pass for the picture's.
    thumbnail = jpeg(scene(64, 64))
    body = b"Exif\0\0" + thumbnail
    data = jpeg(scene(640, 480))
    data = data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]
    assert read(data).rgb.shape == (480, 640, 3)
    refused(data[: len(data) // 2], "truncated", "no end marker")


def test_truncated_jpeg_filled_up_with_zeros():
    data = jpeg(scene(640, 480))
    refused(data[: len(data) // 2] + b"\0" * (len(data) // 2), "truncated", "no end marker")


@pytest.mark.parametrize("tail", [b"\0" * 4096, b"....ftypmp42film" * 64, jpeg(scene(80, 80))])
def test_what_phones_append_is_fine(tail):
    assert_close(read(jpeg() + tail).rgb, scene(), codes=JPEG_TOLERANCE)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "WEBP"])
def test_truncated_stills(kind):
    noise = np.random.default_rng(0).integers(0, 255, (200, 300, 3), dtype=np.uint8)
    data = save(noise, kind)
    refused(data[: len(data) // 2], "truncated", "cut short or damaged")


def test_truncated_heic():
    out = io.BytesIO()
    noise = np.random.default_rng(0).integers(0, 255, (200, 300, 3), dtype=np.uint8)
    pillow_heif.from_pillow(Image.fromarray(noise)).save(out)
    refused(out.getvalue()[: len(out.getvalue()) // 2], "truncated", "cut short or damaged")


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
def test_one_pixel(kind):
    refused(save(np.zeros((1, 1, 3), np.uint8), kind), "too_small", "1 × 1 pixels")


def test_jpeg_that_claims_too_much():
    data = bytearray(jpeg())
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 20000, 20000)
    refused(bytes(data), "too_large", "20000 × 20000 pixels, over 100 megapixels")


@pytest.mark.parametrize(("side", "claim"), [(20000, "more than 178 megapixels"), (12000, "12000 × 12000 pixels")])
def test_png_that_claims_too_much(side, claim):
    import zlib

    data = bytearray(save(np.zeros((64, 64, 3), np.uint8), "PNG"))
    data[16:24] = struct.pack(">II", side, side)
    data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    refused(bytes(data), "too_large", claim)


@pytest.mark.parametrize("kind", ["GIF", "WEBP", "PNG"])
def test_animation(kind):
    frames = [Image.fromarray(scene()), Image.fromarray(scene()[::-1].copy())]
    refused(save(frames[0], kind, save_all=True, append_images=frames[1:]), "animated", "save one frame")


def test_tiff_of_several_pages_is_read_by_its_first():
    pages = [Image.fromarray(scene()), Image.fromarray(scene()[::-1].copy())]
    assert_close(read(save(pages[0], "TIFF", save_all=True, append_images=pages[1:])).rgb, scene(), codes=0)


@pytest.mark.parametrize("pixels", [np.zeros((80, 80), np.float32), np.zeros((80, 80), np.int32)])
def test_measurements_are_no_photo(pixels):
    refused(save(Image.fromarray(pixels), "TIFF"), "not_an_image", "8 or 16 bits")


def test_lossless_jpeg_is_refused_in_words():
    data = bytearray(jpeg())
    data[data.index(b"\xff\xc0") + 1] = 0xC3  # lossless process, which no common decoder takes
    refused(bytes(data), "not_an_image", "cannot be decoded")


def test_same_bytes_same_pixels_and_name():
    data = jpeg()
    one, two = read(data), read(data)
    np.testing.assert_array_equal(one.rgb, two.rgb)
    assert one.name == "tray/one.jpg"


def test_times_and_lens_come_with_it():
    photo = {0x9003: "2026:04:12 05:30:12", 0x9011: "+02:00", 0xA405: 26}
    got = read(jpeg(exif=exif_block({0x0112: 6}, photo)), modified_at=datetime(2020, 1, 1))
    assert got.taken_at is not None
    assert got.taken_at.isoformat() == "2026-04-12T05:30:12+02:00"
    assert got.taken_at_source == "exif with offset"
    # 26 mm equivalent: 26/43.267 of the diagonal of 160 × 96 px, by hand 186.59·0.60092 = 112.13.
    assert got.focal_length_px == pytest.approx(112.13, abs=0.01)


def test_damaged_exif_is_as_good_as_none():
    got = read(jpeg(exif=b"Exif\0\0II*\0\xff\xff\xff\xff"), modified_at=datetime(2026, 4, 12))
    assert (got.taken_at_source, got.focal_length_px) == ("file date", None)
