"""The renderer's camera against OpenCV's, and its rays against its own projection."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from canopy.synthetic.camera import Camera, cast_rays, look_at, straight_down

TILTED = Camera(
    x_mm=140.0, y_mm=95.0, z_mm=820.0, tilt_deg=14.0, tilt_towards_deg=205.0, turn_deg=-23.0,
    focal_px=610.0, width_px=640, height_px=420, k1=-0.06,
)  # fmt: skip
POINTS_MM = np.array(
    [[0, 0, 0], [540, 0, 0], [540, 280, 0], [0, 280, 0], [270, 140, 60], [33, 210, -12], [500, 20, 130]]
)


def _by_opencv(camera: Camera, points_mm: np.ndarray) -> np.ndarray:
    """`cv2.projectPoints` with the same lens; OpenCV's z runs away from the lens, and its k1 is per focal length²."""
    matrix = np.array(
        [
            [camera.focal_px, 0, (camera.width_px - 1) / 2],
            [0, camera.focal_px, (camera.height_px - 1) / 2],
            [0, 0, 1.0],
        ]
    )
    k1 = camera.k1 * camera.focal_px**2 / camera.half_diagonal_px**2
    down = np.array([1.0, 1.0, -1.0])
    shift = -camera.rotation @ (np.array([camera.x_mm, camera.y_mm, camera.z_mm]) * down)
    turned = cv2.Rodrigues(camera.rotation)[0]
    found, _ = cv2.projectPoints(points_mm * down, turned, shift, matrix, np.array([k1, 0, 0, 0]))
    return found.reshape(-1, 2)


@pytest.mark.parametrize("k1", [-0.06, 0.0, 0.08])
def test_projects_as_opencv_does(k1):
    camera = Camera(**{**TILTED.__dict__, "k1": k1})
    # The same formula in doubles on both sides.
    np.testing.assert_allclose(camera.project(POINTS_MM), _by_opencv(camera, POINTS_MM), atol=1e-6)


def test_an_untilted_camera_shows_the_tray_unturned():
    camera = look_at((270, 140), (540, 280), width_px=600, height_px=400, fill=0.8, distance_mm=900)
    corners = camera.project(np.array([[0.0, 0, 0], [540, 0, 0], [0, 280, 0]]))
    assert corners[1, 0] > corners[0, 0]
    assert corners[1, 1] == pytest.approx(corners[0, 1], abs=1e-9)  # exact: no tilt, no turn
    assert corners[2, 1] > corners[0, 1]


def test_the_rotation_only_rotates():
    np.testing.assert_allclose(TILTED.rotation @ TILTED.rotation.T, np.eye(3), atol=1e-12)  # doubles
    assert np.linalg.det(TILTED.rotation) == pytest.approx(1.0, abs=1e-12)


def test_tilt_is_the_angle_of_the_axis_against_straight_down():
    axis = TILTED.rotation.T @ np.array([0.0, 0.0, 1.0])  # in axes whose z points down
    assert np.degrees(np.arccos(axis[2])) == pytest.approx(14.0, abs=1e-9)
    assert np.degrees(np.arctan2(axis[1], axis[0])) % 360 == pytest.approx(205.0, abs=1e-9)


@pytest.mark.parametrize("k1", [-0.09, 0.0, 0.09])
@pytest.mark.parametrize("z_mm", [0.0, 70.0, -50.0])
def test_rays_undo_the_projection(k1, z_mm):
    camera = Camera(**{**TILTED.__dict__, "k1": k1})
    rays = cast_rays(camera)
    rows, columns = np.mgrid[0 : camera.height_px : 7, 0 : camera.width_px : 7]
    x, y = (values[::7, ::7] for values in rays.at(z_mm))
    world = np.stack([x.ravel(), y.ravel(), np.full(x.size, z_mm)], axis=1).astype(float)
    off_px = camera.project(world) - np.stack([columns.ravel(), rows.ravel()], axis=1)
    # 0.01 mm: a hundredth of a pixel; float32 places (1/8000 mm) and eight rounds of the lens term stay below.
    mm_per_px = (camera.z_mm - z_mm) / camera.focal_px
    assert np.abs(off_px).max() * mm_per_px < 0.01


def test_a_plane_above_the_rim_looks_larger_by_d_over_d_minus_h():
    camera = look_at((100, 60), (200, 120), width_px=640, height_px=480, fill=0.8, distance_mm=900, turn_deg=12)
    square = np.array([[80.0, 50, 0], [130, 50, 0], [130, 80, 0]])
    low, high = camera.project(square), camera.project(square + np.array([0, 0, 150]))
    sides = [np.linalg.norm(np.diff(p, axis=0), axis=1) for p in (low, high)]
    np.testing.assert_allclose(sides[1] / sides[0], 900 / (900 - 150), rtol=1e-12)  # similar triangles, doubles


def test_the_axis_meets_the_point_looked_at():
    camera = look_at(
        (123, 45), (540, 280), width_px=640, height_px=480, fill=0.8, distance_mm=900,
        tilt_deg=11, tilt_towards_deg=70, turn_deg=33, k1=0.05,
    )  # fmt: skip
    np.testing.assert_allclose(camera.project(np.array([[123.0, 45, 0]])), [[319.5, 239.5]], atol=1e-9)  # doubles
    assert np.linalg.norm([camera.x_mm - 123, camera.y_mm - 45, camera.z_mm]) == pytest.approx(900, abs=1e-9)


@pytest.mark.parametrize(("turn_deg", "span"), [(0, (600, 300)), (90, (600, 300)), (0, (300, 600))])
def test_the_span_takes_the_asked_share_of_the_picture(turn_deg, span):
    camera = look_at((0, 0), span, width_px=640, height_px=480, fill=0.8, distance_mm=900, turn_deg=turn_deg)
    corners = camera.project(np.array([[-span[0] / 2, -span[1] / 2, 0], [span[0] / 2, span[1] / 2, 0]]))
    shares = np.abs(np.diff(corners, axis=0))[0] / (640, 480)
    assert shares.max() == pytest.approx(0.8, abs=1e-12)  # the tighter direction; doubles


def test_a_window_of_rays_is_that_part_of_the_picture():
    rays = cast_rays(TILTED)
    part = rays.crop(slice(30, 40), slice(5, 25))
    np.testing.assert_array_equal(part.at(12.0)[0], rays.at(12.0)[0][30:40, 5:25])


def test_parallel_rays_see_the_same_place_at_every_height():
    rays = straight_down(-3.0, 4.0, width_px=5, height_px=4, mm_per_px=0.5)
    x, y = rays.at(80.0)
    np.testing.assert_array_equal(x[0], [-3.0, -2.5, -2.0, -1.5, -1.0])
    np.testing.assert_array_equal(y[:, 0], [4.0, 4.5, 5.0, 5.5])
