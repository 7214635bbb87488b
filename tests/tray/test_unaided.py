"""Trays without markers: drawn ones whose corners are known, a real photo, and what must be refused."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from canopy.errors import TrayNotFound
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.synthetic.render import render
from canopy.synthetic.scenes import make_scene
from canopy.tray.locate import locate_tray
from canopy.tray.unaided import locate_unaided

from .board import photo_of

SETTINGS = TraySettings()
REAL = Path(__file__).parents[2] / "sample_images" / "real" / "tray_5x4_photo" / "images" / "tray_and_neighbours.png"
POTS = Layout(
    name="4x5", rows=4, columns=5, pitch_x_mm=75, pitch_y_mm=75, outline_width_mm=378, outline_height_mm=310
)  # 4 rows of 5 pots of equal pitch; the millimetres are nominal
# By eye in the picture: outer edge of the blue carrier, corners 0 to 3.
POTS_CORNERS_PX = np.array([[221, 104], [829, 104], [829, 603], [220, 603]])


def bare_scene(kind, seed, *, turn_deg=0.0, smaller=1.0, style=None):
    """A drawn tray without markers, 1000 × 750 px."""
    scene = make_scene(kind, seed=seed, width_px=1000, height_px=750)
    around = replace(scene.surroundings, markers=False)
    if style is not None:
        around = replace(around, tray_style=style)
    camera = scene.camera
    camera = replace(camera, turn_deg=camera.turn_deg + turn_deg, focal_px=camera.focal_px * smaller)
    return replace(scene, surroundings=around, camera=camera)


def corners_px(scene):
    return scene.camera.project(np.column_stack([scene.layout.outline_mm, np.zeros(4)]))


def record_of(layout, **fields):
    return TrayRecord(tray="t", layout=layout, **fields)


@pytest.mark.parametrize(
    ("kind", "seed", "turn_deg", "first"),
    [("white_tray", 31, 0, 0), ("cubes", 32, 35, 0), ("tilted", 33, 0, 0), ("rosettes", 34, 190, 2)],
)
def test_drawn_tray_is_found(kind, seed, turn_deg, first):
    scene = bare_scene(kind, seed, turn_deg=turn_deg, smaller=0.8)
    frame = locate_tray(photo_of(render(scene).rgb), record_of(scene.layout), settings=SETTINGS)
    assert frame.located_by == "outline"
    truth = np.roll(corners_px(scene), -first, axis=0)  # upside down, the end that looks upright is A1's
    pitch_px = min(scene.layout.pitch_x_mm, scene.layout.pitch_y_mm) / frame.mm_per_px
    # A quarter of the pitch still gives every plant to its cell.
    assert np.hypot(*(frame.to_px(scene.layout.outline_mm) - truth).T).max() < 0.25 * pitch_px


def real_photo():
    return np.asarray(cv2.imread(str(REAL)))[..., ::-1].copy()


def without_drawn_line(rgb):
    """The thin yellow line around the tray painted over from its surroundings; the note and the leaves stay."""
    red, green, blue = (rgb[..., c].astype(int) for c in range(3))
    yellow = ((red > 120) & (green > 100) & (blue < 90)).astype(np.uint8)
    near = np.zeros_like(yellow)
    cv2.polylines(near, [np.array([[219, 102], [832, 102], [832, 605], [219, 605]])], True, 1, 7)
    return cv2.inpaint(rgb, cv2.dilate(yellow & near, np.ones((5, 5), np.uint8)), 4, cv2.INPAINT_TELEA)


@pytest.mark.parametrize("change", [lambda rgb: rgb, without_drawn_line])
def test_real_tray_among_neighbours(change):
    frame = locate_tray(photo_of(change(real_photo())), record_of(POTS), settings=SETTINGS)
    # By eye to about 3 px, and the nominal outline is right to about 2 %: a tenth of the pitch of 121 px.
    np.testing.assert_allclose(frame.to_px(POTS.outline_mm), POTS_CORNERS_PX, atol=12)


def test_same_photo_same_frame():
    photo = photo_of(real_photo())
    before = photo.rgb.copy()
    one, two = (locate_unaided(photo, record_of(POTS), settings=SETTINGS) for _ in range(2))
    np.testing.assert_array_equal(one.px_from_mm, two.px_from_mm)
    np.testing.assert_array_equal(photo.rgb, before)


def refused(rgb, layout, *words):
    with pytest.raises(TrayNotFound) as caught:
        locate_unaided(photo_of(rgb, name="p/tray.jpg"), record_of(layout), settings=SETTINGS)
    assert str(caught.value).startswith("p/tray.jpg: without markers, ")
    assert "give `corners` in the tray list" in str(caught.value)
    assert any(word in str(caught.value) for word in words), str(caught.value)
    return caught.value.code


def test_another_number_of_pots_is_doubtful():
    for rows, columns in ((5, 6), (3, 4), (4, 6)):
        pitch = {"pitch_x_mm": 375 / columns, "pitch_y_mm": 300 / rows}
        other = POTS.model_copy(update={"rows": rows, "columns": columns, **pitch})
        assert refused(real_photo(), other, "not alike enough", "disagree", "unlike") == "doubtful_fit"


def test_cut_off_tray_is_refused():
    refused(real_photo()[:, 300:], POTS, "cut off", "no outline", "disagree", "not alike enough", "unlike")


def test_no_tray_is_refused():
    ground = bare_scene("clutter", 35, style="")
    rgb = render(replace(ground, plants=())).rgb
    refused(rgb, ground.layout, "no outline", "not alike enough")


def test_one_tray_is_not_taken_for_two():
    scene = bare_scene("white_tray", 36)
    # Twice as many columns in an outline twice as wide.
    wide = scene.layout.model_copy(
        update={"columns": 2 * scene.layout.columns, "outline_width_mm": 2 * scene.layout.outline_width_mm}
    )
    refused(render(scene).rgb, wide, "no outline", "not alike enough", "disagree")


def test_a_mat_is_refused_with_what_to_use_instead():
    mat = POTS.model_copy(update={"kind": "mat"})
    with pytest.raises(
        TrayNotFound, match=r"a mat has no cells to check its outline by.*; use markers, or give `corners`"
    ):
        locate_unaided(photo_of(real_photo()), record_of(mat), settings=SETTINGS)
