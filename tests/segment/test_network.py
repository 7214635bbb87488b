from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import pytest

from benchmarks.train_canopy.fold import folded_kernel
from canopy.segment.feed import Feed
from canopy.segment.network import _folded, _shuffled, ask_network, cell_marks

from .drawn import draw_rosettes, layout, painted

MM = 0.5


def feed_of(rgb):
    """A feed of a picture that has its brightness already."""
    return Feed(rgb, rgb, np.ones(rgb.shape[:2], bool), 1.0, MM)


def ask(feed, centres_px=()):
    """Probability and ways; no cell is marked unless told."""
    return ask_network(feed, centres_px=np.reshape(np.asarray(centres_px, float), (-1, 2)))


def noise(rows, cols, seed=0):
    small = np.random.default_rng(seed).integers(0, 255, (rows // 8 + 1, cols // 8 + 1, 3), dtype=np.uint8)
    return cv2.resize(small, (cols, rows), interpolation=cv2.INTER_LINEAR)


@pytest.mark.parametrize(
    ("shape", "half"), [((64, 96), (32, 48)), ((61, 99), (31, 50)), ((1, 1), (1, 1)), ((33, 200), (17, 100))]
)
def test_probability_has_the_pictures_shape_whatever_it_is_and_ways_half_of_it(shape, half):
    probability, ways = ask(feed_of(noise(*shape)[: shape[0], : shape[1]]))
    assert probability.shape == shape
    assert probability.dtype == np.float32
    assert probability.min() >= 0
    assert probability.max() <= 1
    assert ways.shape == (*half, 2)
    assert ways.dtype == np.float32


def test_cells_are_marked_by_bells_cut_off_at_the_border():
    marks = cell_marks(np.array([[20.0, 10.0], [50.4, 10.0], [-3.0, 5.0]]), (40, 60))
    assert marks[10, 20] == marks[10, 50] == 255
    # A normal bell of 3 pixels, by hand: exp(−1/2) at 3 and exp(−2) at 6 pixels, and both ways together.
    assert marks[10, 23] == round(255 * np.exp(-0.5))
    assert marks[16, 23] == round(255 * np.exp(-2.5))
    assert not marks[:, 35].any()  # further than 9 pixels from both
    assert not marks[5, :10].any()  # a cell beyond the picture leaves no mark


def test_leaves_name_the_cell_of_their_own_plant():
    # Clear cases for any weights worth shipping: rosettes that fill their cells of 42 mm without touching.
    from .drawn import blank

    rng = np.random.default_rng(3)
    tray = layout(3, 5, pitch=42.0)
    picture = blank(tray, mm_per_px=MM)
    truth = draw_rosettes(tray, picture, radii_mm=[17.0] * 15, rng=rng)
    centres = picture.to_px(tray.centres_mm())
    _, ways = ask(feed_of(painted(picture, truth, rng=rng).rgb), centres)
    on_grid = cv2.resize(truth, ways.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    rows, cols = np.nonzero(on_grid)
    scale = np.array(truth.shape[::-1]) / on_grid.shape[::-1]
    goals = ways[rows, cols] + (np.stack([cols, rows], axis=1) + 0.5) * scale - 0.5
    named = np.argmin(np.linalg.norm(goals[:, None] - centres, axis=2), axis=1) + 1
    assert (named == on_grid[rows, cols]).mean() > 0.97


def test_pixel_shuffle_follows_its_definition():
    # Shi et al. 2016, eq. 4: channel c of a 2 × 2 block goes to row c // 2, column c mod 2.
    out = np.arange(4 * 2 * 3, dtype=np.float32).reshape(1, 4, 2, 3)
    shuffled = _shuffled(out)
    assert shuffled.shape == (4, 6)
    for channel in range(4):
        np.testing.assert_array_equal(shuffled[channel // 2 :: 2, channel % 2 :: 2], out[0, channel])


def test_fold_is_the_shuffle_backwards_for_each_colour():
    rgb = noise(8, 12)
    folded = _folded(rgb)
    assert folded.shape == (1, 12, 4, 6)
    for colour in range(3):
        blocks = folded.reshape(1, 4, 3, 4, 6)[:, :, colour]
        np.testing.assert_allclose(_shuffled(blocks) * 255, rgb[..., colour], atol=1e-4)  # float32 of 0..1


def test_folded_convolution_is_the_one_of_stride_two():
    # OpenCV's own convolution of the whole picture, every other row and column, beside sums over folded blocks.
    rng = np.random.default_rng(4)
    kernel = rng.normal(size=(2, 3, 3, 3)).astype(np.float32)
    rgb = noise(10, 14)
    blocks = np.pad(_folded(rgb)[0], ((0, 0), (1, 0), (1, 0)))
    folded = folded_kernel(kernel)
    for k in range(2):
        parts = (
            cv2.filter2D(rgb[..., c] / np.float32(255), -1, kernel[k, c], borderType=cv2.BORDER_CONSTANT)
            for c in range(3)
        )
        expected = sum(parts)[::2, ::2]
        found = sum(
            np.einsum("cmn,c->mn", blocks[:, i : i + 5, j : j + 7], folded[k, :, i, j]) for i in (0, 1) for j in (0, 1)
        )
        np.testing.assert_allclose(found, expected, atol=1e-5)  # float32 sums of 27 products of order 1


def test_nothing_is_canopy_where_the_photo_does_not_reach():
    rgb = noise(64, 96)
    valid = np.ones((64, 96), bool)
    valid[:, :40] = False
    probability, _ = ask(Feed(rgb, rgb, valid, 1.0, MM))
    assert not probability[:, :40].any()


def test_threads_do_not_disturb_each_other():
    pictures = [noise(64 + 32 * (k % 3), 96, seed=k) for k in range(12)]
    alone = [ask(feed_of(picture)) for picture in pictures]
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda picture: ask(feed_of(picture)), pictures))
    for one, other in zip(alone, together, strict=True):
        for part, same in zip(one, other, strict=True):
            np.testing.assert_array_equal(part, same)


def test_green_rosettes_on_dark_ground_are_seen():
    # A clear case for any weights worth shipping: textured green rosettes of 24 mm on near-black medium.
    from .drawn import blank

    rng = np.random.default_rng(1)
    tray = layout(3, 5)
    picture = blank(tray, mm_per_px=MM)
    truth = draw_rosettes(tray, picture, radii_mm=[12.0] * 15, rng=rng) > 0
    rgb = painted(picture, truth.astype(int), rng=rng).rgb
    seen = ask(feed_of(rgb), picture.to_px(tray.centres_mm()))[0] > 0.5
    assert 2 * (seen & truth).sum() / (seen.sum() + truth.sum()) > 0.8
