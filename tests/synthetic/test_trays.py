"""A painted tray agrees with its layout to a fraction of a pixel, and its print can be read."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from canopy.records import Layout
from canopy.synthetic.trays import TRAY_STYLES, paint_tray

LAYOUT = Layout(
    name="3x5", rows=3, columns=5, pitch_x_mm=44, pitch_y_mm=40, outline_width_mm=250, outline_height_mm=150
)
ARRAYS = ("albedo", "alpha", "gloss", "depth_mm")


def _tray(seed: int = 0, **options):
    given = {
        "style": "black_tray", "media": "peat", "mm_per_px": 0.8, "margin_mm": 32.0, "rng": np.random.default_rng(seed)
    }  # fmt: skip
    return paint_tray(LAYOUT, **(given | options))


def _at(paint, x_mm, y_mm):
    return round((y_mm - paint.y0_mm) / paint.mm_per_px), round((x_mm - paint.x0_mm) / paint.mm_per_px)


@pytest.mark.parametrize("style", TRAY_STYLES)
def test_tray_is_physical_and_repeatable(style):
    options = {
        "style": style,
        "media": ["peat", "rockwool"],
        "algae": 0.5,
        "wet": 0.6,
        "label_text": "T-7",
        "tape": True,
    }
    paint, again = (_tray(3, **options) for _ in range(2))
    # 214 mm / 0.8 = 267.5 and 314 mm / 0.8 = 392.5 steps, rounded to even, and one more centre than steps.
    assert paint.alpha.shape == (269, 393)
    for name in ARRAYS:
        array = getattr(paint, name)
        assert array.dtype == np.float32, name
        assert np.isfinite(array).all(), name
        assert array.tobytes() == getattr(again, name).tobytes(), name
    assert 0 <= paint.albedo.min() <= paint.albedo.max() <= 1
    assert 0 <= paint.alpha.min() <= paint.alpha.max() <= 1
    assert 0 <= paint.gloss.min() <= paint.gloss.max() <= 1
    assert paint.depth_mm.max() <= 0
    assert paint.depth_mm.min() > -25


def test_body_covers_the_outline():
    paint = _tray(style="styrofoam", markers=False, mm_per_px=0.5)
    area_mm2 = paint.alpha.sum() * 0.5**2
    # 250 x 150 mm less four rounded corners of 2 mm: (4 - pi) * 2^2 = 3.4 mm2. The edge is antialiased: 0.05 %.
    assert area_mm2 == pytest.approx(250 * 150 - (4 - np.pi) * 4, rel=5e-4)


def test_depth_is_negative_in_every_cell_and_zero_on_the_rim():
    paint = _tray(markers=False)
    for x, y in LAYOUT.centres_mm():
        assert paint.depth_mm[_at(paint, x, y)] < -1.5
    for x, y in [(125, 2), (2, 75), (248, 75), (125, 148)]:
        assert paint.depth_mm[_at(paint, x, y)] == 0


def test_cells_follow_a_staggered_layout():
    layout = Layout(
        name="s", rows=2, columns=4, pitch_x_mm=50, pitch_y_mm=60, outline_width_mm=260, outline_height_mm=130,
        row_offset_mm=25,
    )  # fmt: skip
    paint = paint_tray(
        layout, style="raft", media="peat", mm_per_px=0.5, margin_mm=5, rng=np.random.default_rng(1), markers=False
    )
    deep = (paint.depth_mm < -1).astype(np.uint8)
    count, _, _, centroids = cv2.connectedComponentsWithStats(deep)
    assert count - 1 == layout.cells
    found = np.sort(centroids[1:] * 0.5 - 5, axis=0)
    # Each hole is a symmetric disc of hundreds of pixels: its centroid is good to far less than half a pixel.
    np.testing.assert_allclose(found, np.sort(layout.centres_mm(), axis=0), atol=0.25)


@pytest.mark.parametrize("seed", range(3))
def test_markers_lie_where_the_layout_says(seed):
    paint = _tray(seed, mm_per_px=0.3)
    over_ground = paint.albedo * paint.alpha[..., None] + 0.3 * (1 - paint.alpha[..., None])
    grey = np.round(255 * over_ground.mean(axis=2)).astype(np.uint8)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.minMarkerDistanceRate = 0.03  # else the white card's own outline is taken for the same marker
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    assert ids is not None
    assert sorted(ids.ravel()) == [0, 1, 2, 3]
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    for corners, marker in zip(found, ids.ravel(), strict=True):
        centre = LAYOUT.outline_mm[marker] + signs[marker] * LAYOUT.markers.offset_mm
        truth = (centre + signs * LAYOUT.markers.side_mm / 2 - [paint.x0_mm, paint.y0_mm]) / 0.3
        refined = cv2.cornerSubPix(
            grey, corners[0].copy(), (5, 5), (-1, -1), (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 60, 1e-3)
        )
        np.testing.assert_allclose(refined, truth, atol=0.15)


def test_paper_and_ink_are_what_they_are_and_lie_on_the_rim_plane():
    paint = _tray(mm_per_px=0.25)
    # Marker 0 is centred at (-15, -15) mm with a 20 mm side: its black border is 1/6 of the side wide.
    ink, paper = _at(paint, -15 - 9, -15), _at(paint, -15 - 10 - 1.5, -15)
    np.testing.assert_allclose(paint.albedo[ink], 0.04, atol=1e-4)
    np.testing.assert_allclose(paint.albedo[paper], 0.75, atol=1e-4)
    for place in (ink, paper):
        assert paint.alpha[place] == pytest.approx(1.0, abs=1e-6)
        assert paint.depth_mm[place] == 0


def test_label_reads_back():
    paint = _tray(mm_per_px=0.2, label_text="T-0042", markers=False)
    grey = np.round(255 * (paint.albedo.mean(axis=2) * paint.alpha + 0.3 * (1 - paint.alpha))).astype(np.uint8)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(grey)
    assert text == "T-0042"


def test_algae_turns_media_green_and_water_dark():
    def medium_colour(**options):
        paint = _tray(5, style="mat", media="rockwool", markers=False, **options)
        return paint.albedo[_at(paint, 60, 40)[0] : _at(paint, 60, 110)[0]].mean(axis=(0, 1))

    bare, green, wet = medium_colour(), medium_colour(algae=1.0), medium_colour(wet=1.0)
    assert green[1] / green[0] > 1.1 * bare[1] / bare[0]
    assert wet.mean() < 0.9 * bare.mean()


def test_messages():
    with pytest.raises(ValueError, match="tray style 'bathtub' is unknown; choose one of"):
        _tray(style="bathtub")
    # 15 mm offset + 10 mm half side + one module of 20/6 mm = 28.3 mm, by hand.
    with pytest.raises(ValueError, match=r"margin_mm is 20 but marker cards reach 28\.3333 mm out; widen it"):
        _tray(margin_mm=20.0)
    with pytest.raises(ValueError, match="medium 'lava' is unknown"):
        _tray(media="lava")
