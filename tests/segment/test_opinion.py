import numpy as np
import pytest

from canopy.segment.opinion import Opinion, colour_features, dice, fit_opinion, shipped_opinion

GREENS = np.array([[70, 140, 50], [110, 180, 80], [45, 90, 30]], np.uint8)
GROUNDS = np.array([[128, 128, 128], [40, 36, 32], [230, 230, 225], [120, 90, 70], [60, 70, 160]], np.uint8)


def labelled(rng, colours, n=400):
    spread = colours[rng.integers(0, len(colours), n)] + rng.normal(0, 6, (n, 3))
    return np.clip(np.rint(spread), 0, 255).astype(np.uint8)


def test_table_is_looked_up_by_the_colours_upper_five_bits():
    table = np.zeros((32, 32, 32), np.uint8)
    table[1, 2, 3] = 255
    table[31, 0, 0] = 51
    rgb = np.array([[[8, 16, 24], [15, 23, 31], [16, 16, 24], [255, 7, 0]]], np.uint8)
    np.testing.assert_allclose(Opinion(table).probability(rgb), [[1, 1, 0, 0.2]], rtol=1e-6)


def test_plant_coloured_is_where_the_probability_is_above_one_half():
    rgb = np.random.default_rng(5).integers(0, 256, (50, 70, 3), dtype=np.uint8)
    opinion = shipped_opinion()
    np.testing.assert_array_equal(opinion.plant_coloured(rgb), opinion.probability(rgb) > 0.5)


def test_learning_tells_green_from_ground():
    rng = np.random.default_rng(0)
    rgb = np.concatenate([labelled(rng, GREENS), labelled(rng, GROUNDS)])
    opinion = fit_opinion(rgb, np.arange(800) < 400)
    unseen = np.concatenate([labelled(rng, GREENS), labelled(rng, GROUNDS)])
    right = (opinion.probability(unseen[None])[0] > 0.5) == (np.arange(800) < 400)
    assert right.mean() > 0.97  # the kinds are 20 and more code values apart at a spread of 6


def test_learning_twice_gives_the_same_table():
    rng = np.random.default_rng(0)
    rgb = np.concatenate([labelled(rng, GREENS), labelled(rng, GROUNDS)])
    one, two = (fit_opinion(rgb, np.arange(800) < 400, seed=3).table for _ in range(2))
    np.testing.assert_array_equal(one, two)


@pytest.mark.parametrize("is_plant", [np.ones(5, bool), np.zeros(5, bool)])
def test_learning_needs_both_kinds(is_plant):
    with pytest.raises(ValueError, match="both plant and ground"):
        fit_opinion(GROUNDS, is_plant)


def test_shipped_table_knows_clear_cases():
    opinion = shipped_opinion()
    assert opinion.table.shape == (32, 32, 32)
    assert (opinion.probability(GREENS[None]) > 0.5).all()
    assert (opinion.probability(GROUNDS[None]) < 0.5).all()


def test_features_follow_their_definitions():
    # By hand: shares of (60, 120, 20) are 0.3, 0.6, 0.1, so ExG = 1.2 − 0.4 = 0.8 and ExR = 0.42 − 0.6 = −0.18.
    features = colour_features(np.array([[60, 120, 20]], np.uint8))
    np.testing.assert_allclose(features[0, :2], [0.8, -0.18], atol=1e-6)


def test_lab_of_the_srgb_primaries():
    # CIELAB (D65, 2°) of full red, green and blue as commonly tabulated, from memory; to their two decimals.
    lab = colour_features(np.array([[255, 0, 0], [0, 255, 0], [0, 0, 255]], np.uint8))[:, 2:6]
    expected = [[53.24, 80.09, 67.20], [87.73, -86.18, 83.18], [32.30, 79.19, -107.86]]
    np.testing.assert_allclose(lab[:, :3], expected, atol=0.02)
    np.testing.assert_allclose(lab[:, 3], np.hypot(*np.array(expected)[:, 1:].T), atol=0.03)


def test_black_has_finite_features():
    assert np.isfinite(colour_features(np.zeros((1, 3), np.uint8))).all()


def test_dice_by_hand():
    one, other = np.array([1, 1, 1, 0, 0], bool), np.array([0, 1, 1, 1, 1], bool)
    assert dice(one, other) == pytest.approx(2 * 2 / (3 + 4))
    assert dice(one, ~one) == 0
    assert dice(np.zeros(3, bool), np.zeros(3, bool)) == 1
