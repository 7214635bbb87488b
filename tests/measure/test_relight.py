"""Colours less the light's effect, and what is said of it."""

import numpy as np
import pytest

from canopy.measure.colour import linear_to_srgb, srgb_to_linear
from canopy.measure.correction import Correction, balance
from canopy.measure.gainfield import GainField
from canopy.measure.relight import Relight, light_remarks
from canopy.reasons import REASONS
from canopy.settings.light import LightSettings

SETTINGS = LightSettings()
FIELD = GainField(np.array([[1.0, 0.0]]), np.array([[0.3, 0.2, 0.1]]), 100.0, 60.0, explained=0.8, spread=0.2)


def codes(linear):
    return np.round(255 * linear_to_srgb(np.asarray(linear))).astype(np.uint8)


def test_nothing_known_nothing_changed():
    rgb = np.arange(60, dtype=np.uint8).reshape(4, 5, 3)
    got = Relight().codes(rgb, np.array([3, 7]))
    assert got.dtype == np.uint8
    np.testing.assert_array_equal(got, rgb.reshape(-1, 3)[[3, 7]])
    assert light_remarks(Relight(), settings=SETTINGS) == ()


def test_light_is_divided_out():
    ln_gain = np.full((2, 3, 3), (0.4, 0.1, -0.2), np.float32)
    leaf = np.array([0.05, 0.2, 0.03])
    rgb = np.tile(codes(leaf * np.exp([0.4, 0.1, -0.2])), (20, 40, 1))
    light = Relight(field=FIELD, ln_gain=ln_gain, width_px=40)
    got = srgb_to_linear(light.codes(rgb, np.array([0, 799])) / 255)
    np.testing.assert_allclose(got, [leaf, leaf], rtol=0.03)  # half a code at code 50 is 2 % of the light
    tint = srgb_to_linear(light.codes(rgb, np.array([5]), brightness=False) / 255)
    # Mean of ln is 0.1: that much brightness stays, the colour goes.
    np.testing.assert_allclose(tint[0], leaf * np.exp(0.1), rtol=0.03)


def test_white_becomes_white_and_what_is_too_bright_stays_in_range():
    white = np.array([0.6, 0.45, 0.2])
    rgb = np.tile(codes(white), (4, 4, 1))
    light = Relight(balance(white, source="markers"), width_px=4)
    got = light.codes(rgb, np.array([0]))[0]
    assert np.ptp(got) < 1.5  # grey but for 8-bit rounding of the three codes
    hot = Relight(balance((1, 1, 0.1), source="markers"), width_px=4).codes(
        np.full((4, 4, 3), 250, np.uint8), np.array([0])
    )
    assert hot.max() <= 255


@pytest.mark.parametrize(
    ("correction", "codes_said", "repaired"),
    [
        (balance((1, 0.9, 0.6), source="markers"), [], True),
        (balance((1, 0.5, 0.1), source="markers"), ["colour_cast"], False),
        (Correction("linear", np.eye(3), "card", 1.2, 3.0, 1.5, 24), ["colour_corrected"], True),
        (Correction("linear", np.eye(3), "card", 5.0, 15.0, 7.0, 20), ["card_doubtful"], False),
    ],
)
def test_what_is_said_of_the_light(correction, codes_said, repaired):
    light = Relight(correction)
    remarks = light_remarks(light, settings=SETTINGS)
    assert [remark.code for remark in remarks] == codes_said
    assert light.repairs_cast(SETTINGS) == repaired
    for remark in remarks:
        assert remark.code in REASONS
        assert any(letter.isdigit() for letter in remark.text)


def test_uneven_light_and_an_unseen_card_are_said():
    said = light_remarks(Relight(field=FIELD, card_unseen=True), settings=LightSettings(card="chart24"))
    assert [remark.code for remark in said] == ["card_unseen", "uneven_light"]
    assert "±20 %" in said[1].text
    faint = GainField(FIELD.waves, FIELD.terms, 100.0, 60.0, explained=0.8, spread=0.1)
    assert light_remarks(Relight(field=faint), settings=SETTINGS) == ()
