"""Every kind of scene can be drawn and is what it is called."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from canopy.records import Layout
from canopy.synthetic.drafts import LAYOUTS, MAT_CROPS, RED_CROPS, Draft, plain_draft
from canopy.synthetic.kinds import CHANGES, DESCRIPTIONS, KINDS, draft_of
from canopy.synthetic.render import render
from canopy.synthetic.scenes import compose, das_for_diameter, grow_tray, pitch_mm

SEEDS = (1, 2, 3)


def _drafts(kind: str) -> list[Draft]:
    return [draft_of(kind, np.random.default_rng(seed)) for seed in SEEDS]


def _corner_of(layout: Layout) -> Layout:
    """Two by three cells of a layout, so that drawing is quick."""
    return layout.model_copy(
        update={
            "rows": 2,
            "columns": 3,
            "outline_width_mm": 3 * layout.pitch_x_mm + 12,
            "outline_height_mm": 2 * layout.pitch_y_mm + 10,
        }
    )


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_draws(kind):
    draft = draft_of(kind, np.random.default_rng(11))
    # A mat stands a shoot every 9 mm: younger, so that there are fewer leaves to draw.
    das = 6.0 if draft.layout.kind == "mat" else None
    das = das or das_for_diameter(draft.cultivar, draft.spread * pitch_mm(draft.layout), seed=11)
    draft = replace(draft, layout=_corner_of(draft.layout), empty=min(draft.empty, 0.3))
    plants = grow_tray(draft, das=das, seed=11)
    picture = render(compose(draft, plants, kind=kind, seed=11, width_px=320, height_px=240))
    assert picture.rgb.shape == (240, 320, 3)
    assert picture.rgb.std() > 2  # something is seen
    assert set(np.unique(picture.plant)) <= set(range(7))
    assert (picture.plant > 0).any()


def test_every_kind_is_described_in_one_sentence():
    assert tuple(DESCRIPTIONS) == KINDS
    assert all(text.endswith(".") and text.count(". ") == 0 and text[0].isupper() for text in DESCRIPTIONS.values())


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_seed_drafts_the_same_scene(kind):
    assert draft_of(kind, np.random.default_rng(9)) == draft_of(kind, np.random.default_rng(9))


@pytest.mark.parametrize("kind", sorted(CHANGES))
def test_a_kind_changes_something(kind):
    plain = [plain_draft(np.random.default_rng(seed)) for seed in SEEDS]
    assert _drafts(kind) != plain


@pytest.mark.parametrize(
    ("kind", "holds"),
    [
        ("white_tray", lambda d: d.surroundings.tray_style == "white_tray"),
        ("mixed_media", lambda d: len(d.surroundings.media) in (2, 3)),
        ("seedlings", lambda d: d.spread < 0.56),
        ("finish", lambda d: d.layout.kind == "raft"),
        ("red_leaf", lambda d: d.cultivar in RED_CROPS),
        ("rosettes", lambda d: d.cultivar == "thale_rosette"),
        ("cubes", lambda d: d.layout.kind == "cubes"),
        ("mat", lambda d: d.layout.kind == "mat" and d.cultivar in MAT_CROPS),
        ("algae", lambda d: d.surroundings.algae >= 0.3),
        ("wet", lambda d: d.surroundings.wet >= 0.6),
        ("clutter", lambda d: len(d.surroundings.clutter) >= 2),
        ("tilted", lambda d: 6 <= d.tilt_deg <= 18),
        ("wide_lens", lambda d: abs(d.k1) >= 0.03),
        ("soft", lambda d: d.look.defocus_px >= 1.2),
        ("dark", lambda d: d.look.grey <= 0.06),
        ("bright", lambda d: d.look.grey >= 0.4),
        ("purple", lambda d: d.light.rgb[1] < 0.5 * min(d.light.rgb[0], d.light.rgb[2])),
        ("side", lambda d: d.light.elevation_deg <= 48),
        ("bars", lambda d: d.light.bars >= 0.2),
        ("overlap", lambda d: d.spread > 1),
        ("gaps", lambda d: d.empty >= 0.15),
        ("hand", lambda d: "hand" in d.surroundings.over[0]),
        ("over", lambda d: d.surroundings.over and not any("hand" in name for name in d.surroundings.over)),
        ("neighbours", lambda d: d.neighbours in (1, 2)),
    ],
)
def test_kinds_are_what_they_are_called(kind, holds):
    assert all(holds(draft) for draft in _drafts(kind))


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_layouts_hold_their_cells(layout):
    centres = layout.centres_mm()
    assert (centres > 0).all()
    assert (centres < [layout.outline_width_mm, layout.outline_height_mm]).all()
