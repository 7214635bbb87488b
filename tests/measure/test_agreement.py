from __future__ import annotations

import numpy as np
import pytest

from canopy.measure.agreement import bland_altman, dice, iou, lin_concordance

# Bland & Altman 1986 (Lancet i:307-310), table 1: peak flow of 17 people by two meters, first readings.
PEAK_FLOW = np.array(
    [
        (494, 512), (395, 430), (516, 520), (434, 428), (476, 500), (557, 600), (413, 364), (442, 380), (650, 658),
        (433, 445), (417, 432), (656, 626), (267, 260), (478, 477), (178, 259), (423, 350), (427, 451),
    ]
).T  # fmt: skip


def test_overlap_by_counts():
    # TP 80, FP 10, FN 20: 160/190 and 80/110, by definition.
    truth, found = np.zeros(200, bool), np.zeros(200, bool)
    truth[:100] = True
    found[20:110] = True
    assert dice(found, truth) == pytest.approx(0.842105, abs=1e-6)
    assert iou(found, truth) == pytest.approx(0.727273, abs=1e-6)


def test_overlap_of_empty_masks_is_full():
    empty = np.zeros((3, 4), bool)
    assert dice(empty, empty) == 1
    assert iou(empty, empty) == 1
    assert dice(empty, ~empty) == 0
    assert iou(empty, ~empty) == 0


def test_masks_must_fit():
    with pytest.raises(ValueError, match=r"\(3, 4\) and \(4, 3\) differ"):
        dice(np.zeros((3, 4)), np.zeros((4, 3)))


def test_limits_of_agreement():
    got = bland_altman(*PEAK_FLOW)
    assert got.bias == pytest.approx(-2.118, abs=5e-4)  # printed -2.1
    assert got.sd == pytest.approx(38.765, abs=5e-4)  # printed 38.8
    assert got.low == pytest.approx(-78.0973, abs=1e-3)
    assert got.high == pytest.approx(73.8620, abs=1e-3)
    # The paper itself prints bias ± 2 s as -79.7 and 75.5, from rounded figures.
    assert got.bias - 2 * got.sd == pytest.approx(-79.7, abs=0.1)
    assert got.bias + 2 * got.sd == pytest.approx(75.5, abs=0.1)


def test_concordance():
    x = np.arange(1.0, 6.0)
    # Lin 1989, variances with 1/n: 2·2/(2 + 2 + 1) = 0.8; 2·4/(2 + 8 + 9) = 0.421053, by hand.
    assert lin_concordance(x, x + 1) == pytest.approx(0.8, abs=1e-9)
    assert lin_concordance(x, 2 * x) == pytest.approx(8 / 19, abs=1e-9)
    assert lin_concordance(*PEAK_FLOW) == pytest.approx(0.94274, abs=1e-5)
    assert np.isnan(lin_concordance([2, 2], [2, 2]))


def test_missing_pairs_are_left_out():
    first, second = [1.0, 2.0, np.nan, 4.0], [1.5, 2.5, 3.0, 4.5]
    assert bland_altman(first, second).bias == pytest.approx(-0.5)
    assert lin_concordance(first, second) == lin_concordance([1, 2, 4], [1.5, 2.5, 4.5])


@pytest.mark.parametrize(("first", "second"), [([1.0], [2.0]), ([np.nan, 1.0], [1.0, 2.0])])
def test_too_few_pairs(first, second):
    with pytest.raises(ValueError, match="at least 2"):
        bland_altman(first, second)


def test_pairs_must_be_lists_of_one_length():
    with pytest.raises(ValueError, match="one length"):
        lin_concordance([1, 2], [1, 2, 3])
