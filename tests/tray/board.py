"""A printed board seen through a known camera: the ground truth of this room's tests.

Shares no code with `canopy.tray`: places come from `cv2.projectPoints`, pixels from a ray through each of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.photo import Photo
from canopy.records import Layout

FloatArray = NDArray[np.float64]

# Board raster: 0.25 mm, four to eight times finer than any photo below, so that its own steps do not show.
BOARD_MM = 0.25
MARGIN_MM = 60.0
SUPERSAMPLE = 2


@dataclass(frozen=True)
class Camera:
    """OpenCV's camera: pinhole, first radial term, pose."""

    matrix: FloatArray
    rotation: FloatArray
    place_mm: FloatArray  # of the lens, in tray mm, z positive away from the tray towards the camera
    width_px: int
    height_px: int
    k1_cv: float

    @property
    def rvec_tvec(self) -> tuple[FloatArray, FloatArray]:
        rvec = cv2.Rodrigues(self.rotation)[0]
        # Tray axes: x along rows, y down the columns, so z points away from the camera; the lens is at −height.
        return rvec, -self.rotation @ (self.place_mm * (1, 1, -1))

    @property
    def k1(self) -> float:
        """The lens term in units of half the picture's diagonal instead of the focal length."""
        half_diagonal = np.hypot(self.width_px, self.height_px) / 2
        return float(self.k1_cv * (half_diagonal / self.matrix[0, 0]) ** 2)

    @property
    def tilt_deg(self) -> float:
        return float(np.degrees(np.arccos(self.rotation[2, 2])))

    def project(self, points_mm: FloatArray) -> FloatArray:
        rvec, tvec = self.rvec_tvec
        points = np.column_stack([points_mm, np.zeros(len(points_mm))])
        return cv2.projectPoints(points, rvec, tvec, self.matrix, np.array([self.k1_cv, 0, 0, 0]))[0].reshape(-1, 2)


def camera(
    *,
    tilt_deg: float = 0.0,
    towards_deg: float = 0.0,
    turn_deg: float = 0.0,
    height_mm: float = 700.0,
    at_mm: tuple[float, float] = (270.0, 140.0),
    width_px: int = 1200,
    height_px: int = 760,
    focal_px: float = 1120.0,
    k1: float = 0.0,
) -> Camera:
    """A camera whose axis meets the tray at `at_mm`; `k1` in units of half the picture's diagonal."""
    turn, _ = cv2.Rodrigues(np.array([0, 0, np.radians(turn_deg)]))
    axis = np.array([-np.sin(np.radians(towards_deg)), np.cos(np.radians(towards_deg)), 0.0])
    lean, _ = cv2.Rodrigues(axis * np.radians(tilt_deg))
    rotation = turn @ lean
    aim = rotation.T @ np.array([0, 0, 1.0])
    place = np.array([*at_mm, 0.0]) - aim / aim[2] * height_mm
    matrix = np.array([[focal_px, 0, (width_px - 1) / 2], [0, focal_px, (height_px - 1) / 2], [0, 0, 1.0]])
    k1_cv = k1 / (np.hypot(width_px, height_px) / 2 / focal_px) ** 2
    return Camera(matrix, rotation, place * (1, 1, -1), width_px, height_px, k1_cv)


def draw_board(
    layout: Layout, *, markers: tuple[int, ...] = (0, 1, 2, 3), ink: int = 25, paper: int = 225
) -> NDArray[np.uint8]:
    """The tray as a grey raster of `BOARD_MM`, `MARGIN_MM` around its outline: speckled ground, plants, markers."""
    width = round((layout.outline_width_mm + 2 * MARGIN_MM) / BOARD_MM)
    height = round((layout.outline_height_mm + 2 * MARGIN_MM) / BOARD_MM)
    rng = np.random.default_rng(7)
    coarse = rng.normal(110, 12, (height // 24 + 1, width // 24 + 1)).astype(np.float32)
    board = np.clip(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC), 0, 255).astype(np.uint8)
    for x, y in layout.centres_mm():
        at = (round((x + MARGIN_MM) / BOARD_MM), round((y + MARGIN_MM) / BOARD_MM))
        cv2.circle(board, at, round(12 / BOARD_MM), 75, -1)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = round(layout.markers.side_mm / BOARD_MM)
    quiet = side // 6
    out = layout.markers.offset_mm
    w, h = layout.outline_width_mm, layout.outline_height_mm
    centres = [(-out, -out), (w + out, -out), (w + out, h + out), (-out, h + out)]
    for number in markers:
        # Raster pixel [i, j] covers mm [j, j + 1)·BOARD_MM − MARGIN_MM: the marker's edges fall on pixel edges.
        left = round((centres[number][0] + MARGIN_MM) / BOARD_MM - side / 2)
        top = round((centres[number][1] + MARGIN_MM) / BOARD_MM - side / 2)
        image = cv2.aruco.generateImageMarker(dictionary, number, side)
        board[top - quiet : top + side + quiet, left - quiet : left + side + quiet] = paper
        board[top : top + side, left : left + side] = np.where(image > 127, paper, ink)
    return board


def photograph(
    board: NDArray[np.uint8],
    view: Camera,
    *,
    blur_px: float = 0.6,
    noise: float = 2.0,
    name: str = "board.jpg",
    focal_known: bool = True,
) -> Photo:
    """What the camera sees of the board: a ray through each sub-pixel, averaged, blurred, noise added."""
    s = SUPERSAMPLE
    u, v = np.meshgrid((np.arange(view.width_px * s) + 0.5) / s - 0.5, (np.arange(view.height_px * s) + 0.5) / s - 0.5)
    seen = np.stack([u.ravel(), v.ravel()], axis=1)
    bent = (seen - view.matrix[:2, 2]) / view.matrix[0, 0]
    rays = bent.copy()
    # x = bent / (1 + k1·|x|²) contracts to a fifth or less each time for the lenses used here.
    for _ in range(9 if view.k1_cv else 0):
        rays = bent / (1 + view.k1_cv * (rays[:, :1] ** 2 + rays[:, 1:] ** 2))
    direction = np.column_stack([rays, np.ones(len(rays))]) @ view.rotation
    lens = view.place_mm * (1, 1, -1)
    hit = lens[:2] - lens[2] * direction[:, :2] / direction[:, 2:]
    places = ((hit + MARGIN_MM) / BOARD_MM - 0.5).astype(np.float32).reshape(view.height_px * s, view.width_px * s, 2)
    fine = cv2.remap(board, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    grey = cv2.resize(fine, (view.width_px, view.height_px), interpolation=cv2.INTER_AREA).astype(np.float32)
    if blur_px:
        grey = cv2.GaussianBlur(grey, (0, 0), blur_px)
    grey += np.random.default_rng(3).normal(0, noise, grey.shape).astype(np.float32)
    rgb = cv2.merge([np.clip(np.rint(grey), 0, 255).astype(np.uint8)] * 3)
    return photo_of(rgb, name=name, focal_length_px=float(view.matrix[0, 0]) if focal_known else None)


def photo_of(
    rgb: NDArray[np.uint8], *, name: str = "board.jpg", reduction: int = 1, focal_length_px: float | None = None
) -> Photo:
    height_px, width_px = rgb.shape[:2]
    return Photo(name, rgb, reduction, width_px * reduction, height_px * reduction, None, "", focal_length_px)
