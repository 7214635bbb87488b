"""Colours: contrast by the accessibility guidelines, and told apart with every common kind of colour vision."""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses a plotting library, which is not needed
    import colour

from canopy.measure.colour import ciede2000, srgb_to_lab
from canopy.pictures.palette import AWAY, BLACK, LOOKS, PAGE, RAMP, WHITE, contrast_ratio, page_css, step_of


def test_contrast_is_that_of_the_guidelines():
    # Ends by definition; #777777 on white is 4.48 and #767676 is 4.54 (well-known examples, from memory).
    assert contrast_ratio(BLACK, WHITE) == pytest.approx(21.0)
    assert contrast_ratio(WHITE, WHITE) == 1.0
    assert contrast_ratio((119, 119, 119), WHITE) == pytest.approx(4.48, abs=0.005)
    assert contrast_ratio(WHITE, (118, 118, 118)) == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("step", [*RAMP, *AWAY], ids=lambda step: str(step.fill))
def test_numbers_are_read_on_every_step(step):
    assert contrast_ratio(step.fill, step.ink) >= 4.5  # success criterion 1.4.3


@pytest.mark.parametrize(
    "look", [look for look in LOOKS.values() if look.shape != "cross"], ids=lambda look: look.decision
)
def test_letters_are_read_on_every_sign(look):
    assert contrast_ratio(look.fill, look.ink) >= 4.5


@pytest.mark.parametrize("kind", ["light", "dark"])
def test_text_is_read_on_every_page(kind):
    page = PAGE[kind]
    for ground in ("paper", "card"):
        for ink in ("ink", "soft", "link"):
            assert contrast_ratio(page[ground], page[ink]) >= 4.5, (ground, ink)
        assert contrast_ratio(page[ground], page["line"]) >= 3.0, ground  # rims of controls: 1.4.11
    assert contrast_ratio(page["warn"], page["warn-ink"]) >= 4.5
    assert f"--warn-ink: #{bytes(page['warn-ink']).hex()};" in page_css()


def test_little_to_much_gets_darker_in_even_strides():
    lightness = srgb_to_lab(np.array([step.fill for step in RAMP], float))[:, 0]
    assert (np.diff(lightness) < -6).all()  # a grey print keeps the order


def _seen(colours, deficiency, severity=1.0):
    """CIELAB of colours as somebody with a colour deficiency sees them (Machado, Oliveira & Fernandes 2009)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # tritanomaly is only approximated by that model
        matrix = colour.matrix_cvd_Machado2009(deficiency, severity)
    linear = colour.cctf_decoding(np.array(colours) / 255.0) @ matrix.T
    return srgb_to_lab(255 * colour.cctf_encoding(np.clip(linear, 0, 1)))


@pytest.mark.parametrize("deficiency", ["Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_colour_blind_readers_tell_neighbouring_steps_and_decisions_apart(deficiency):
    for steps in (RAMP, AWAY):
        lab = _seen([step.fill for step in steps], deficiency)
        assert ciede2000(lab[:-1], lab[1:]).min() > 4.5  # differences over about 2 are seen side by side
    # The two ends of the map of departures must never be taken for each other.
    ends = _seen([AWAY[1].fill, AWAY[-2].fill], deficiency)
    assert ciede2000(ends[:1], ends[1:])[0] > 25
    signs = _seen([look.fill for look in LOOKS.values()], deficiency)
    for one, other in itertools.combinations(range(len(signs)), 2):
        # Four times what is just seen side by side; shape and letter differ besides.
        assert ciede2000(signs[one : one + 1], signs[other : other + 1])[0] > 8


def test_steps_cut_a_range_into_equal_parts():
    assert step_of(0.0, RAMP, low=0, high=7) == RAMP[0]
    assert step_of(0.999, RAMP, low=0, high=7) == RAMP[0]
    assert step_of(1.0, RAMP, low=0, high=7) == RAMP[1]
    assert step_of(7.0, RAMP, low=0, high=7) == RAMP[6]
    assert step_of(-5.0, RAMP, low=0, high=7) == RAMP[0]
    assert step_of(99.0, RAMP, low=0, high=7) == RAMP[6]
    assert step_of(3.0, RAMP, low=3, high=3) == RAMP[3]
