"""From a mapping to a camera: scale, tilt and where the lens hangs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from canopy.photo.image import Photo
from canopy.records import Layout
from canopy.settings import TraySettings
from canopy.tray.frame import Frame, apply_homography, distort, picture_centre

FloatArray = NDArray[np.float64]

# The implied focal length is found by repeating f ← f·typed/found; it is linear but for tilt and converges in a few.
_FOCAL_ROUNDS = 20
_FOCAL_RANGE = (0.05, 50.0)  # long sides of the picture; outside there is no camera


def complete_frame(
    px_from_mm: FloatArray,
    *,
    photo: Photo,
    layout: Layout,
    settings: TraySettings,
    located_by: str,
    k1: float = 0.0,
    residual_px: float = 0.0,
    camera_height_mm: float | None = None,
) -> Frame:
    """Add scale, tilt and camera position to a homography (from tray mm to ideal pixels of the decoded photo).

    The focal length comes from EXIF; else from the typed camera height, which fixes it through the scale; else a usual
    one is assumed for the tilt alone, and the camera position stays unknown. A typed height always stands.
    """
    height_px, width_px = photo.rgb.shape[:2]
    px_from_mm = _positive_at(px_from_mm, layout.outline_mm.mean(axis=0))
    focal_px, source = _focal(px_from_mm, photo, camera_height_mm, settings)
    tilt_deg, camera = camera_pose(px_from_mm, focal_px=focal_px, width_px=width_px, height_px=height_px)
    if camera_height_mm is not None:
        camera = (camera[0], camera[1], camera_height_mm)
    return Frame(
        px_from_mm=px_from_mm,
        k1=k1,
        width_px=width_px,
        height_px=height_px,
        mm_per_px=scale_mm_per_px(px_from_mm, k1, layout=layout, width_px=width_px, height_px=height_px),
        tilt_deg=tilt_deg,
        residual_px=residual_px,
        located_by=located_by,
        camera_mm=camera if source != "assumed" else None,
        focal_source=source,
    )


def camera_pose(
    px_from_mm: FloatArray, *, focal_px: float, width_px: int, height_px: int
) -> tuple[float, tuple[float, float, float]]:
    """Decompose a homography of a plane for a camera of known focal length (Zhang 2000, IEEE PAMI 22:1330).

    Returns
    -------
    tilt_deg : float
        Angle between the camera axis and the plane's normal.
    camera_mm : tuple of float
        Foot of the lens on the plane (x, y) and its height over it.
    """
    cx, cy = picture_centre(width_px, height_px)
    to_ray = np.array([[1 / focal_px, 0, -cx / focal_px], [0, 1 / focal_px, -cy / focal_px], [0, 0, 1.0]])
    columns = to_ray @ px_from_mm
    columns = columns * 2 / (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1]))
    rotation = np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])])
    left, _, right = np.linalg.svd(rotation)  # nearest rotation
    rotation = left @ right
    x, y, z = -rotation.T @ columns[:, 2]
    tilt = math.degrees(math.acos(min(1.0, abs(float(rotation[2, 2])))))
    return tilt, (float(x), float(y), abs(float(z)))


def scales_mm_per_px(
    px_from_mm: FloatArray, k1: float, *, layout: Layout, width_px: int, height_px: int
) -> tuple[float, float]:
    """Millimetres per pixel at the tray's centre along rows and along columns."""
    x, y = layout.outline_mm.mean(axis=0)
    cross_mm = np.array([[x - 0.5, y], [x + 0.5, y], [x, y - 0.5], [x, y + 0.5]])
    px = distort(apply_homography(px_from_mm, cross_mm), k1, width_px=width_px, height_px=height_px)
    along_row, along_column = px[1] - px[0], px[3] - px[2]
    return 1 / float(np.hypot(*along_row)), 1 / float(np.hypot(*along_column))


def scale_mm_per_px(px_from_mm: FloatArray, k1: float, *, layout: Layout, width_px: int, height_px: int) -> float:
    """Geometric mean of both directions' scale at the tray's centre."""
    return math.sqrt(math.prod(scales_mm_per_px(px_from_mm, k1, layout=layout, width_px=width_px, height_px=height_px)))


def _positive_at(px_from_mm: FloatArray, point_mm: FloatArray) -> FloatArray:
    """Scale a homography so that its third coordinate is 1 at a point that the camera sees."""
    return np.asarray(px_from_mm / (px_from_mm[2, :2] @ point_mm + px_from_mm[2, 2]))


def _focal(
    px_from_mm: FloatArray, photo: Photo, camera_height_mm: float | None, settings: TraySettings
) -> tuple[float, str]:
    height_px, width_px = photo.rgb.shape[:2]
    long_side = max(width_px, height_px)
    if photo.focal_length_px is not None:
        return photo.focal_length_px / photo.reduction, "exif"
    focal_px = settings.assumed_focal * long_side
    if camera_height_mm is None:
        return focal_px, "assumed"
    for _ in range(_FOCAL_ROUNDS):
        _, (_, _, z) = camera_pose(px_from_mm, focal_px=focal_px, width_px=width_px, height_px=height_px)
        focal_px = float(np.clip(focal_px * camera_height_mm / z, *(long_side * np.array(_FOCAL_RANGE))))
    return focal_px, "camera height"
