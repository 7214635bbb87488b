"""Doubts of a whole photo: bounds met and passed by a hair."""

from dataclasses import replace

import numpy as np
import pytest

from canopy.errors import PhotoError
from canopy.measure.doubts import clarity_remarks, doubt_share, require_scale, shown_share, tray_remarks
from canopy.reasons import REASONS
from canopy.settings import PhotoSettings
from canopy.tray.frame import Frame

from .drawing import disc, draw, layout_of

SETTINGS = PhotoSettings()
LAYOUT = layout_of()
RASTER, SEEN = draw(LAYOUT, {name: disc(12.0) for name in LAYOUT.names()})


def frame(tilt_deg=0.0):
    return Frame(np.eye(3), 0.0, 400, 300, 0.5, tilt_deg, 0.0, "markers", None)


@pytest.mark.parametrize(("stage", "bound"), [("seedling", 1.3), ("", 1.3), ("finish", 2.5), ("mat", 2.0)])
def test_scale_by_stage(stage, bound):
    require_scale(bound, stage=stage, settings=SETTINGS, name="p.jpg")
    with pytest.raises(PhotoError, match=r"^p.jpg: one pixel covers \d\.\d\d mm \(at most") as caught:
        require_scale(bound + 0.01, stage=stage, settings=SETTINGS, name="p.jpg")
    assert caught.value.code == "too_coarse"
    assert REASONS["too_coarse"].blocks


def cut(share):
    """The tray with the photo ending after a share of its width."""
    inside = np.zeros_like(RASTER.inside)
    x0, x1 = RASTER.to_px(LAYOUT.outline_mm[[0, 2]])[:, 0]
    inside[:, : round(x0 + share * (x1 - x0))] = True
    return replace(RASTER, inside=inside)


def test_shown_share_is_the_share_of_the_outline():
    assert shown_share(RASTER, LAYOUT) == 1
    assert shown_share(cut(0.75), LAYOUT) == pytest.approx(0.75, abs=0.01)  # whole pixels of 0.5 in 210 mm


def test_cut_off_is_said_and_less_than_half_is_refused():
    (remark,) = tray_remarks(cut(0.75), frame(), LAYOUT, settings=SETTINGS, name="p.jpg")
    assert remark.code == "cut_off"
    assert "7" in remark.text
    with pytest.raises(
        PhotoError, match=r"only 4\d % of the tray is in the photo \(at least 50 %\); step back"
    ) as caught:
        tray_remarks(cut(0.45), frame(), LAYOUT, settings=SETTINGS, name="p.jpg")
    assert caught.value.code == "cut_off"


def test_tilt():
    assert tray_remarks(RASTER, frame(18.0), LAYOUT, settings=SETTINGS, name="p") == ()
    (remark,) = tray_remarks(RASTER, frame(18.1), LAYOUT, settings=SETTINGS, name="p")
    assert (remark.code, REASONS["tilted"].blocks) == ("tilted", False)


def doubted(share, *, canopy=1.0):
    """The segmentation with a given doubt share."""
    cover = SEEN.cover * np.float32(canopy)
    doubt = np.where(SEEN.owner > 0, 1, 0.2).astype(np.float32)
    doubt *= share * float(cover.sum()) / float(doubt.sum())
    return replace(SEEN, cover=cover, doubt=doubt)


def clarity(segmentation, *, may_refuse=True):
    return clarity_remarks(segmentation, RASTER, LAYOUT, may_refuse=may_refuse, settings=SETTINGS, name="p.jpg")


def test_doubt_share_by_hand():
    assert doubt_share(doubted(0.25)) == pytest.approx(0.25, rel=1e-5)  # float32 sums
    assert doubt_share(doubted(0.25, canopy=0.0)) == 0


def test_doubt_beside_the_plants_does_not_refuse():
    doubt = np.where(SEEN.owner > 0, 0, 1).astype(np.float32)
    doubt *= 0.9 * float(SEEN.cover.sum()) / float(doubt.sum())
    beside = replace(SEEN, doubt=doubt)
    assert doubt_share(beside) == pytest.approx(0.9, rel=1e-4)  # float32 sums
    assert doubt_share(beside, plants_only=True) == 0
    assert [remark.code for remark in clarity(beside)] == ["unclear"]


def test_unclear_photos():
    assert clarity(doubted(0.39)) == ()
    (remark,) = clarity(doubted(0.74))
    assert remark.code == "unclear"
    with pytest.raises(PhotoError, match=r"^p.jpg: plants cannot be told .* \(doubt 0.80 of the canopy") as caught:
        clarity(doubted(0.80))
    assert caught.value.code == "unclear"
    # In purple light areas are given whatever their doubt; with hardly any canopy its outline alone is doubt enough.
    assert [r.code for r in clarity(doubted(0.80), may_refuse=False)] == ["unclear"]
    assert [r.code for r in clarity(doubted(0.80, canopy=0.02))] == ["unclear"]
