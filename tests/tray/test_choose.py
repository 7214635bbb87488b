"""The layout is chosen from the picture where none is named, or asked for."""

from __future__ import annotations

import pytest

from canopy.errors import TrayNotFound
from canopy.records import TrayRecord
from canopy.settings import TraySettings
from canopy.synthetic.render import render
from canopy.tray.choose import choose_layout, with_layout
from canopy.tray.layouts import named_layouts

from .board import photo_of
from .test_unaided import POTS, bare_scene, real_photo

SETTINGS = TraySettings()
KNOWN = tuple(layout for layout in named_layouts().values() if layout.kind != "mat")
POTS_ = POTS.model_copy(update={"name": "pots"})


def record_of(choices):
    return TrayRecord(tray="t", layout=choices[0], layout_choices=choices)


def chosen(rgb, choices):
    return choose_layout(photo_of(rgb, name="p/tray.jpg"), record_of(choices), settings=SETTINGS)


@pytest.mark.parametrize(("kind", "seed"), [("white_tray", 31), ("grey_tray", 44)])
def test_a_drawn_tray_is_known_again(kind, seed):
    scene = bare_scene(kind, seed, smaller=0.9)
    choice = chosen(render(scene).rgb, KNOWN)
    assert (choice.layout.rows, choice.layout.columns) == (scene.layout.rows, scene.layout.columns)
    assert choice.layout.outline_width_mm == pytest.approx(scene.layout.outline_width_mm, rel=0.01)  # rounded pitches
    assert f"layout {choice.layout.name} was chosen among {len(KNOWN)} " in choice.text


def test_the_real_tray_among_neighbours():
    choice = chosen(real_photo(), (*KNOWN, POTS_))
    assert choice.layout.name == "pots"


def refused(rgb, choices, code, words):
    with pytest.raises(TrayNotFound, match=words) as caught:
        chosen(rgb, choices)
    assert caught.value.code == code
    assert str(caught.value).startswith("p/tray.jpg: no layout is named")


def test_layouts_of_twice_the_pitch_or_other_counts_are_not_taken():
    double = POTS.model_copy(update={"name": "double", "rows": 2, "columns": 5, "pitch_y_mm": 150.0})
    refused(real_photo(), (double,), "tray_not_found", "none of 1 known ones fits")
    refused(real_photo(), KNOWN, "tray_not_found", f"none of {len(KNOWN)} known ones fits")


def test_two_sizes_of_one_grid_are_asked_for():
    larger = POTS.model_copy(
        update={
            "name": "larger", "pitch_x_mm": 150.0, "pitch_y_mm": 150.0,
            "outline_width_mm": 756, "outline_height_mm": 620,
        }
    )  # fmt: skip
    refused(
        real_photo(), (POTS_, larger), "which_layout", "(pots and larger|larger and pots) fit equally well; name one"
    )


def test_the_record_with_its_layout_named():
    record = with_layout(record_of(KNOWN), KNOWN[3])
    assert (record.layout, record.layout_choices) == (KNOWN[3], ())
