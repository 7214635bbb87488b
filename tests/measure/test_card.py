"""The colour card in a drawn photo: patches of known colour under a light of known colour."""

import numpy as np
import pytest

from canopy.errors import UsageError
from canopy.measure.card import card_correction, named_card, patch_colours
from canopy.measure.colour import ciede2000, lab_to_linear, linear_to_lab, linear_to_srgb
from canopy.records import CardPatch, ColourCard
from canopy.settings import PhotoSettings
from canopy.settings.light import LightSettings

from .conftest import read_truth

PHOTO = PhotoSettings()
HERE = LightSettings(card="chart24", card_x_mm=20, card_y_mm=30)
PX_PER_MM = 3.0
LIGHT = (0.9, 0.7, 0.4)  # warm: white paper would look orange


def to_px(points_mm):
    return points_mm * PX_PER_MM


def photo_of(card, settings, *, light=LIGHT):
    """Grey table with the card on it, nearest pixels, sRGB codes."""
    picture = np.full((420, 600, 3), 0.2)
    turn = np.radians(settings.card_turn_deg)
    y, x = np.mgrid[:420, :600] / PX_PER_MM
    u, v = x - settings.card_x_mm, y - settings.card_y_mm
    u, v = u * np.cos(turn) + v * np.sin(turn), v * np.cos(turn) - u * np.sin(turn)
    for patch in card.patches:
        here = (abs(u - patch.x_mm) <= card.patch_mm / 2) & (abs(v - patch.y_mm) <= card.patch_mm / 2)
        picture[here] = np.clip(lab_to_linear(patch.lab), 0, 1)
    return np.round(255 * linear_to_srgb(np.clip(picture * light, 0, 1))).astype(np.uint8)


def test_shipped_chart_holds_the_published_colours():
    # xyY of the edition of late 2014 in colour-science, adapted to D65 by it: tests/truth/colour_chart_24.csv.
    table = read_truth("colour_chart_24.csv")
    published = table[table.chart.str.contains("2014")][["L_D65", "a_D65", "b_D65"]].to_numpy()
    shipped = np.array([patch.lab for patch in named_card(HERE).patches])
    np.testing.assert_allclose(shipped, published, atol=0.0051)  # written with two digits
    in_gamut = table[table.chart.str.contains("2014")].out_of_srgb_gamut.to_numpy() == 0
    codes = table[table.chart.str.contains("2014")][["sR", "sG", "sB"]].to_numpy()[in_gamut]
    # Two digits of Lab are 0.01 in 100; the library adapts with a D65 of four digits, ours is the matrix's own.
    np.testing.assert_allclose(linear_to_srgb(lab_to_linear(shipped[in_gamut])), codes, atol=0.002)


def test_lab_to_linear_undoes_linear_to_lab():
    colours = np.array([[0.2, 0.3, 0.5], [0.001, 0.002, 0.0], [1.2, 0.9, 0.1], [-0.1, 0.2, 0.3]])
    np.testing.assert_allclose(lab_to_linear(linear_to_lab(colours)), colours, atol=1e-9)  # exact inverses


@pytest.mark.parametrize("turn", [0.0, 15.0])
def test_colours_of_the_card_come_back(turn):
    settings = HERE.model_copy(update={"card_turn_deg": turn, "card_x_mm": 60.0 if turn else 20.0})
    card = named_card(settings)
    picture = photo_of(card, settings)
    fit = card_correction(picture, to_px, card, settings=settings, photo=PHOTO)
    assert (fit.source, fit.patches) == ("card", 24)
    seen = patch_colours(picture, to_px, card, settings=settings, photo=PHOTO)
    away = ciede2000(linear_to_lab(fit(seen)), [patch.lab for patch in card.patches])
    # Only the rounding to 8 bits is in the way, and the cyan patch, which sRGB codes cannot hold.
    assert np.median(away) < 0.5
    assert fit.residual_median == pytest.approx(np.median(away), abs=1e-9)


def test_bad_patches_are_left_out():
    card = named_card(HERE)
    picture = photo_of(card, HERE)
    middles = [to_px(np.array([patch.x_mm + 20, patch.y_mm + 30])).astype(int) for patch in card.patches]
    (x0, y0), (x1, y1), (x2, y2) = middles[0], middles[1], middles[2]
    picture[y0 - 13 : y0 + 13, x0 : x0 + 13] //= 2  # half in shade
    picture[y1 - 13 : y1 + 13, x1 - 13 : x1 + 13] = 255  # a lamp mirrored
    picture[y2 - 13 : y2 + 13, x2 - 13 : x2 + 13] = (60, 140, 40)  # a leaf lies on it
    seen = patch_colours(picture, to_px, card, settings=HERE, photo=PHOTO)
    assert np.isnan(seen[:2]).all()
    assert not np.isnan(seen[2:]).any()
    fit = card_correction(picture, to_px, card, settings=HERE, photo=PHOTO)
    assert fit.patches == 21
    assert fit.residual_median < 0.5  # as without those patches


def test_card_out_of_the_picture_tells_nothing():
    away = HERE.model_copy(update={"card_x_mm": 500.0})
    picture = photo_of(named_card(HERE), HERE)
    assert card_correction(picture, to_px, named_card(away), settings=away, photo=PHOTO) is None


def test_card_of_five_patches_tells_nothing():
    shipped = named_card(HERE)
    small = ColourCard(name="five", patch_mm=9, patches=shipped.patches[:5], source="test")
    picture = photo_of(small, HERE)
    assert card_correction(picture, to_px, small, settings=HERE, photo=PHOTO) is None


def test_own_cards_come_first_and_unknown_names_are_told():
    own = ColourCard(name="mine", patch_mm=5, patches=(CardPatch(x_mm=3, y_mm=3, lab=(50, 0, 0)),), source="measured")
    assert named_card(LightSettings(card="mine", cards=(own,))) is own
    assert named_card(LightSettings()) is None
    with pytest.raises(UsageError, match=r"no card `chart42`; did you mean `chart24`\? known: chart24, sheet24"):
        named_card(LightSettings(card="chart42"))
    with pytest.raises(ValueError, match=r"card c, patch 1: L\* 120"):
        ColourCard(name="c", patch_mm=5, patches=(CardPatch(x_mm=3, y_mm=3, lab=(120, 0, 0)),), source="s")
