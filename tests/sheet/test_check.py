"""The scale of a print, told from a photo with a card of known size on it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from canopy.errors import TrayNotFound
from canopy.settings import Settings
from canopy.sheet import check_print

from .printing import photo_of_print

SETTINGS = Settings()
# A pixel is 0.15 mm here; an edge found to a third of one at either end of 54 mm is 0.2 %. Measured: 0.11 % at most.
CLOSE = 0.002


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_true_print_is_good(paper):
    checked = check_print(photo_of_print(paper), settings=SETTINGS)
    assert checked.paper == paper
    assert (checked.across, checked.down) == pytest.approx((1.0, 1.0), abs=CLOSE)
    assert checked.good
    assert checked.words.endswith(f"({paper}); good")


@pytest.mark.parametrize(("across", "down"), [(0.97, 0.97), (0.941, 0.941), (1.03, 1.03), (1.0, 0.985)])
def test_another_scale_is_told_in_both_directions(across, down):
    checked = check_print(photo_of_print(across=across, down=down), settings=SETTINGS)
    assert (checked.across, checked.down) == pytest.approx((across, down), abs=CLOSE)
    assert not checked.good
    assert checked.words.startswith(f"printed at {100 * checked.across:.1f} % across")
    assert "print it again at 100 %" in checked.words


@pytest.mark.parametrize("card", [(250, 250, 250), (5, 5, 5), (200, 170, 30)])
def test_any_colour_of_card_will_do_laid_by_hand(card):
    photo = photo_of_print(across=0.97, down=0.97, card=card, aslant_deg=1.5, aside_mm=(1.5, -1.0))
    checked = check_print(photo, settings=SETTINGS)
    assert (checked.across, checked.down) == pytest.approx((0.97, 0.97), abs=CLOSE)


def test_warm_dim_light_that_falls_off_to_one_side_will_do():
    photo = photo_of_print(across=0.97, down=0.97, light=(0.5, 0.4, 0.2))
    fall = np.linspace(1.0, 0.6, photo.full_width_px)[None, :, None]
    checked = check_print(replace(photo, rgb=(photo.rgb * fall).astype(np.uint8)), settings=SETTINGS)
    assert (checked.across, checked.down) == pytest.approx((0.97, 0.97), abs=CLOSE)


def test_without_a_card_nothing_is_claimed():
    checked = check_print(photo_of_print(card=None), settings=SETTINGS)
    assert not checked.good
    assert checked.words.startswith("no card is seen on the chequered field")


def test_a_card_that_hides_one_side_of_the_field_is_not_guessed():
    checked = check_print(photo_of_print(aside_mm=(8.0, 0.0)), settings=SETTINGS)
    assert math.isnan(checked.across)
    assert not checked.good


def test_without_markers_there_is_no_sheet():
    photo = photo_of_print()
    with pytest.raises(TrayNotFound, match="corner markers"):
        check_print(replace(photo, rgb=np.full_like(photo.rgb, 200)), settings=SETTINGS)
