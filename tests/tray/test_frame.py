"""The mapping mm ↔ px: worked numbers, lens term, round trip."""

import numpy as np
import pytest

from canopy.tray.fit import fit_homography
from canopy.tray.frame import Frame, distort, undistort

CORNERS_MM = np.array([[0.0, 0], [540, 0], [540, 280], [0, 280]])
CORNERS_PX = np.array([[412.0, 310], [3620, 355], [3555, 2010], [380, 1980]])


def frame(k1: float = 0.0) -> Frame:
    matrix = fit_homography(CORNERS_MM, CORNERS_PX)
    return Frame(matrix, k1, 4000, 2400, 0.17, 0.0, 0.0, "corners", None)


def test_worked_homography():
    # Worked example: the four corners above; (2000, 1160) → (270.191, 138.619) mm by direct linear transform.
    # Tolerance: the example is given to 0.001 mm, half a unit of its last digit on each side and rounding.
    got = frame().to_mm(np.array([[2000.0, 1160.0]]))
    np.testing.assert_allclose(got, [[270.191, 138.619]], atol=0.001)


def test_four_points_fit_exactly():
    # Eight equations, eight unknowns; only float rounding at 4000 px is left.
    np.testing.assert_allclose(frame().to_px(CORNERS_MM), CORNERS_PX, atol=1e-8)


def test_lens_term_at_half_the_radius():
    # Brown–Conrady, first term: k1 = −0.1 at r = 0.5 gives the factor 1 − 0.1·0.25 = 0.975.
    centre = np.array([1999.5, 1199.5])
    away = np.array([np.hypot(4000, 2400) / 4, 0.0])
    got = distort((centre + away)[None], -0.1, width_px=4000, height_px=2400)
    np.testing.assert_allclose(got[0], centre + 0.975 * away, atol=1e-9)  # float rounding


@pytest.mark.parametrize("k1", [-0.3, -0.1, 0.05, 0.3])
def test_lens_term_is_undone(k1):
    points = np.stack(np.meshgrid(np.linspace(0, 3999, 9), np.linspace(0, 2399, 7)), axis=-1).reshape(-1, 2)
    seen = distort(points, k1, width_px=4000, height_px=2400)
    # Asked for: below 0.01 px; Newton reaches float rounding.
    np.testing.assert_allclose(undistort(seen, k1, width_px=4000, height_px=2400), points, atol=1e-6)


def test_round_trip_with_lens():
    bent = frame(k1=-0.08)
    points = CORNERS_MM.mean(axis=0) + (CORNERS_MM - CORNERS_MM.mean(axis=0)) * 1.1
    np.testing.assert_allclose(bent.to_mm(bent.to_px(points)), points, atol=1e-7)


def test_nothing_is_imaged_past_the_fold_of_a_barrel_lens():
    # r(1 + k1·r²) has its top at r = 1/√(−3·k1) = 0.816 for k1 = −0.5: 0.544 half diagonals; 0.6 has no source.
    seen = np.array([1999.5, 1199.5]) + np.array([[0.6 * np.hypot(4000, 2400) / 2, 0.0]])
    assert np.isnan(undistort(seen, -0.5, width_px=4000, height_px=2400)).all()


def test_points_behind_the_camera_are_nowhere():
    matrix = np.array([[1.0, 0, 0], [0, 1, 0], [-0.01, 0, 1]])  # third coordinate 1 − x/100
    got = Frame(matrix, 0.0, 100, 100, 1.0, 0.0, 0.0, "corners", None).to_px(np.array([[50.0, 0], [150, 0]]))
    np.testing.assert_allclose(got[0], [100, 0])
    assert np.isnan(got[1]).all()


def test_points_are_left_alone():
    points = CORNERS_MM.copy()
    frame(k1=-0.1).to_px(points)
    np.testing.assert_array_equal(points, CORNERS_MM)
