import numpy as np

from canopy.segment.owners import contact_shares, disputed_shares, spread_owners


def test_contact_by_hand():
    # Plant 1 has 4 sides, 1 against plant 2; plant 2 has 6, 1 against plant 1 and 1 against canopy of nobody.
    owner = np.array([[-1, -1, -1, -1, -1], [-1, 1, 2, 2, 0], [-1, -1, -1, -1, -1]], np.int32)
    np.testing.assert_allclose(contact_shares(owner, cells=3), [1 / 4, 2 / 6, np.nan])


def test_the_pictures_border_counts_as_bare():
    np.testing.assert_allclose(contact_shares(np.array([[1, 2]], np.int32), cells=2), [1 / 4, 1 / 4])


def test_edge_pixels_take_the_nearest_owner_and_bare_ones_none():
    owner = np.array([[-1, 1, -1, -1, 2, -1]], np.int32)
    cover = np.array([[0, 1, 0.3, 0.2, 1, 0]], np.float32)
    np.testing.assert_array_equal(spread_owners(owner, cover), [[0, 1, 1, 2, 2, 0]])


def test_canopy_of_nobody_keeps_its_edge_from_others():
    owner = np.array([[0, 0, -1, -1, 5]], np.int32)
    np.testing.assert_array_equal(spread_owners(owner, np.ones((1, 5), np.float32)), [[0, 0, 0, 5, 5]])


def test_owners_are_enlarged_to_the_covers_grid():
    full = spread_owners(np.array([[1, 2]], np.int32), np.ones((2, 6), np.float32))
    assert full.dtype == np.uint16
    np.testing.assert_array_equal(full, [[1, 1, 1, 2, 2, 2]] * 2)


def test_disputed_shares_are_means_over_each_plant():
    owner = np.array([[-1, 1, 1], [0, 2, -1]], np.int32)
    doubt = np.array([[9, 0.1, 0.3], [0.9, 0.5, 9]], np.float32)
    np.testing.assert_allclose(disputed_shares(owner, doubt, cells=3), [0.2, 0.5, np.nan], rtol=1e-6)
