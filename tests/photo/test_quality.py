"""Blur, light and clipping: figures by hand, bounds on drawn scenes that differ in all but sharpness."""

import cv2
import numpy as np
import pytest

from canopy.errors import PhotoError
from canopy.photo import check_quality, clipped_share, edge_blur_px, laplacian_variance, light, light_kind
from canopy.photo.glare import glare_share
from canopy.photo.light import cast_chroma, code_quantile, green_ratio
from canopy.photo.quality import blur_mm_of, sharpness
from canopy.reasons import REASONS
from canopy.settings import PhotoSettings

SETTINGS = PhotoSettings()


def test_laplacian_of_an_impulse():
    # 4-neighbour kernel on a unit impulse in 5 × 5: −4 and four 1, mean 0, so (16 + 4)/25 = 0.8.
    grey = np.zeros((5, 5))
    grey[2, 2] = 1
    assert laplacian_variance(grey) == pytest.approx(0.8, abs=1e-9)


def test_laplacian_of_a_step():
    # 0/255 step in 6 × 6: +255 and −255 in two of six columns: 255²·2/6 = 21675.
    grey = np.repeat(np.array([[0, 0, 0, 255, 255, 255]], np.uint8), 6, axis=0)
    assert laplacian_variance(grey) == pytest.approx(21675, abs=1e-6)


def discs(count, contrast, seed=1):
    """Ellipses at eight times the size, to be shrunk."""
    rng = np.random.default_rng(seed)
    big = np.full((2400, 3200), 90, np.uint8)
    for _ in range(count):
        centre = (int(rng.integers(0, 3200)), int(rng.integers(0, 2400)))
        axes = (int(rng.integers(80, 400)), int(rng.integers(60, 250)))
        grey = int(90 + contrast * rng.uniform(-1, 1))
        cv2.ellipse(big, centre, axes, int(rng.integers(0, 180)), 0, 360, grey, -1)
    return big


def seen(big, blur_px, *, noise=2.0, motion=False):
    """The scene blurred by a known amount, at an eighth, with noise."""
    sigma = 8 * blur_px
    soft = cv2.GaussianBlur(big, (0, 0), sigma, sigmaY=0.01 if motion else sigma)
    small = cv2.resize(soft, (400, 300), interpolation=cv2.INTER_AREA)
    return np.clip(small + np.random.default_rng(0).normal(0, noise, small.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("blur_px", [1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize(("count", "contrast"), [(6, 80), (60, 80), (60, 35), (400, 60)])
def test_edge_blur_is_read_off_whatever_the_scene(blur_px, count, contrast):
    got = edge_blur_px(seen(discs(count, contrast), blur_px), settings=SETTINGS)
    # A quarter: corners where ellipses cross, and noise on weak edges, make some edges look sharper.
    assert got == pytest.approx(blur_px, rel=0.25)


def test_edge_blur_sees_motion_in_one_direction():
    assert edge_blur_px(seen(discs(60, 80), 3.0, motion=True), settings=SETTINGS) > 2.2
    assert edge_blur_px(seen(discs(60, 80), 0.4), settings=SETTINGS) < 1.0


def test_no_edges_no_verdict():
    assert edge_blur_px(np.full((100, 100), 80, np.uint8), settings=SETTINGS) is None


def rgb_of(grey):
    return cv2.merge([grey] * 3)


@pytest.mark.parametrize(("count", "contrast"), [(6, 80), (60, 35), (400, 60)])
def test_blurred_photo_is_refused_and_sharp_one_is_not(count, contrast):
    big = discs(count, contrast)
    # 0.5 mm per pixel: the bound of 1 mm is 2 px; 3 px is half over it, 1 px half of it.
    check_quality(rgb_of(seen(big, 1.0)), mm_per_px=0.5, settings=SETTINGS)
    with pytest.raises(
        PhotoError, match=r"^p/a.jpg: edges are blurred by 1\.\d mm \(at most 1\.0\); hold still"
    ) as caught:
        check_quality(rgb_of(seen(big, 3.0)), mm_per_px=0.5, settings=SETTINGS, name="p/a.jpg")
    assert caught.value.code == "blurred"


def test_motion_is_told_from_lack_of_focus():
    big = discs(60, 80)
    with pytest.raises(
        PhotoError, match=r"smeared by \d\.\d mm one way, 0\.\d mm the other \(at most 1\.0\)"
    ) as caught:
        check_quality(rgb_of(seen(big, 4.0, motion=True)), mm_per_px=0.5, settings=SETTINGS)
    assert caught.value.code == "moved"
    assert REASONS["moved"].blocks
    with pytest.raises(PhotoError, match="hold still") as caught:
        check_quality(rgb_of(seen(big, 4.0)), mm_per_px=0.5, settings=SETTINGS)
    assert caught.value.code == "blurred"


def wet(spots, *, size=5):
    """Grey tray of 300 × 200 mm at 1 mm per pixel with a white rim and square spots of mirrored lamp, white."""
    rgb = np.full((200, 300, 3), 90, np.uint8)
    rgb[:12] = rgb[-12:] = rgb[:, :12] = rgb[:, -12:] = 255
    for n in range(spots):
        row, col = 20 + 12 * (n // 20), 20 + 13 * (n % 20)
        rgb[row : row + size, col : col + size] = 255
    return rgb


def test_glare_counts_spots_and_no_rims():
    # 60 spots of 5 × 5 pixels in 60,000.
    assert glare_share(wet(60), mm_per_px=1.0, settings=SETTINGS) == pytest.approx(60 * 25 / 60000, abs=1e-12)
    assert glare_share(wet(0), mm_per_px=1.0, settings=SETTINGS) == 0
    sheet = wet(0)
    sheet[60:100, 60:100] = 255  # a card of 40 mm
    assert glare_share(sheet, mm_per_px=1.0, settings=SETTINGS) == 0
    assert glare_share(wet(60) // 2, mm_per_px=1.0, settings=SETTINGS) == 0  # spots, but nothing is lost under them


def test_glare_is_said():
    assert "glare" in codes(wet(100, size=6))  # 6 % of the tray
    assert "glare" not in codes(wet(75, size=6))  # 4.5 %
    assert not REASONS["glare"].blocks


def test_soft_ground_does_not_hide_sharp_leaves():
    # Blotches of algae or shadow have soft edges all over the picture; a few sharp discs on it must decide.
    rng = np.random.default_rng(5)
    blotches = cv2.resize(rng.normal(100, 14, (30, 40)).astype(np.float32), (3200, 2400), interpolation=cv2.INTER_CUBIC)
    big = np.clip(blotches, 0, 255).astype(np.uint8)
    for x in range(300, 3200, 500):
        cv2.circle(big, (x, 1200), 160, 40, -1)
    check_quality(rgb_of(seen(big, 0.8)), mm_per_px=0.5, settings=SETTINGS)
    with pytest.raises(PhotoError, match="blurred"):
        check_quality(rgb_of(seen(big, 3.0)), mm_per_px=0.5, settings=SETTINGS)


def test_coarse_photo_is_not_called_blurred():
    # 2 mm per pixel: even a perfect lens smears over more than a millimetre.
    check_quality(rgb_of(seen(discs(60, 80), 0.6)), mm_per_px=2.0, settings=SETTINGS)


@pytest.mark.parametrize("mm_per_px", [0.1, 0.2, 0.5])
def test_blur_in_millimetres_does_not_depend_on_scale(mm_per_px):
    grey = seen(discs(40, 80), 0.8 / 0.5)  # 1.6 px at 0.5 mm: 0.8 mm
    size = (int(400 * 0.5 / mm_per_px), int(300 * 0.5 / mm_per_px))
    fine = cv2.resize(grey, size, interpolation=cv2.INTER_CUBIC)
    assert blur_mm_of(rgb_of(fine), mm_per_px=mm_per_px, settings=SETTINGS) == pytest.approx(0.8, rel=0.2)


def test_sharpness_is_taken_at_a_fixed_scale():
    # Without noise, whose own Laplacian variance (20 times its variance) would hide the soft picture's.
    sharp, soft = (rgb_of(seen(discs(60, 80), blur_px, noise=0)) for blur_px in (0.5, 2.0))
    assert sharpness(sharp, mm_per_px=0.5, settings=SETTINGS) > 3 * sharpness(soft, mm_per_px=0.5, settings=SETTINGS)
    doubled = cv2.resize(sharp, None, fx=2, fy=2, interpolation=cv2.INTER_NEAREST)
    assert sharpness(doubled, mm_per_px=0.25, settings=SETTINGS) == pytest.approx(
        sharpness(sharp, mm_per_px=0.5, settings=SETTINGS),
        rel=1e-9,  # a 2 × 2 mean of equal pixels is exact
    )


def bench(light=(1.0, 1.0, 1.0), leaf=(60, 120, 40), level=1.0):
    """White rim, brown medium, leaves, under a light that multiplies the codes."""
    rgb = np.full((200, 300, 3), (120, 90, 60), np.float64)
    rgb[:, :60] = rgb[:, 240:] = (205, 205, 205)
    rgb[40:160, 90:210] = leaf
    rgb += np.random.default_rng(0).normal(0, 4, rgb.shape)
    return np.clip(rgb * light * level, 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    ("picture", "kind"),
    [
        (bench(), "white"),
        (bench(leaf=(110, 50, 70)), "white"),  # red cultivar
        (bench(leaf=(200, 190, 60)), "white"),  # yellowing
        (bench(light=(1.0, 0.25, 1.1)), "purple"),
        (bench(light=(1.1, 0.35, 0.9)), "purple"),
        (bench(light=(1.1, 1.0, 0.7)), "coloured"),
        (bench(level=0.2), "dark"),
    ],
)
def test_light(picture, kind):
    assert light_kind(picture, settings=SETTINGS) == kind


def test_green_ratio_of_grey_is_a_half():
    assert green_ratio(np.full((80, 80, 3), 140, np.uint8), settings=SETTINGS) == pytest.approx(0.5)


def test_cast_of_grey_and_of_green():
    grey = np.full((80, 80, 3), 140, np.uint8)
    assert cast_chroma(grey, settings=SETTINGS) == pytest.approx(0, abs=0.05)  # grey has a* = b* = 0 but for rounding
    green = np.full((80, 80, 3), (60, 160, 40), np.uint8)
    assert cast_chroma(green, settings=SETTINGS) is None


def test_clipped_share():
    rgb = np.full((100, 100, 3), 100, np.uint8)
    rgb[:10] = (255, 100, 100)  # one channel at the top
    rgb[10:15] = 3  # all at the bottom
    rgb[15:20] = (3, 90, 90)  # one at the bottom is a colour
    assert clipped_share(rgb, settings=SETTINGS) == pytest.approx(0.15)
    plants = np.zeros((100, 100), bool)
    plants[:20] = True
    assert clipped_share(rgb, plants, settings=SETTINGS) == pytest.approx(0.75)
    assert clipped_share(rgb, np.zeros((100, 100), bool), settings=SETTINGS) == 0


def codes(picture, **options):
    return {remark.code for remark in check_quality(picture, mm_per_px=0.5, settings=SETTINGS, **options)}


def test_remarks():
    assert codes(bench()) == set()
    assert codes(bench(light=(1.0, 0.25, 1.1))) == {"purple_light"}
    assert codes(bench(light=(1.1, 1.0, 0.7))) == {"colour_cast"}
    assert codes(bench(level=0.2)) == {"dark"}
    assert codes(bench(level=1.5)) == {"clipped"}
    plants = np.zeros((200, 300), bool)
    plants[:, :5] = True  # 5 of 300 columns, all white
    assert codes(bench(), plants=plants) == set()
    assert codes(np.where(plants[..., None], 255, bench()).astype(np.uint8), plants=plants) == {"clipped"}


def test_every_remark_is_a_known_reason_and_says_figures():
    for picture in (bench(light=(1.0, 0.25, 1.1)), bench(light=(1.1, 1.0, 0.7)), bench(level=0.2), bench(level=1.5)):
        for remark in check_quality(picture, mm_per_px=0.5, settings=SETTINGS):
            assert not REASONS[remark.code].blocks
            assert any(c.isdigit() for c in remark.text)
    assert REASONS["blurred"].blocks


def test_leaves_brighter_than_the_medium_are_no_colour_cast():
    # Grey medium in white light, two fifths of the picture yellow-green leaf: the brightest pixels are leaves.
    rgb = np.full((200, 300, 3), 70, np.uint8)
    plants = np.zeros((200, 300), bool)
    plants[:, :120] = True
    rgb[plants] = (150, 165, 120)
    assert cast_chroma(rgb, settings=SETTINGS) > 20  # without knowing where the leaves are
    # Equal code values have chroma 0 (CIE 15); room for float rounding of the conversion.
    assert cast_chroma(rgb, plants=plants, settings=SETTINGS) == pytest.approx(0, abs=0.05)
    assert light_kind(rgb, plants=plants, settings=SETTINGS) == "white"


def test_a_picture_of_plants_alone_says_nothing_of_the_light():
    rgb = np.full((20, 30, 3), (90, 140, 60), np.uint8)
    assert cast_chroma(rgb, plants=np.ones((20, 30), bool), settings=SETTINGS) is None


@pytest.mark.parametrize("plants", [None, np.zeros((90, 120), bool)])
def test_light_is_named_from_one_sample(monkeypatch, plants):
    taken = []
    sample = light._sample
    monkeypatch.setattr(light, "_sample", lambda *a: taken.append(sample(*a)) or taken[-1])
    assert light_kind(np.full((90, 120, 3), (200, 150, 120), np.uint8), plants=plants, settings=SETTINGS) == "coloured"
    assert len(taken) == 1


@pytest.mark.parametrize("count", [1, 2, 7, 400])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 1.0])
def test_counted_quantile_is_numpys(count, share):
    codes = np.random.default_rng(count).integers(0, 765, count).astype(np.uint16)
    assert code_quantile(codes, share) == pytest.approx(float(np.quantile(codes, share)), abs=1e-9)  # float rounding
