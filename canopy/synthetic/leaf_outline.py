"""The outline of one leaf as seen from straight above: two half-width profiles along a bent, swept axis.

Both deformations of the straight leaf (sideways bend, V-shaped sweep) are shears, so they keep area, and the
footprint area is the plain integral of the two half-widths: exact, whatever the pose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]
Profile = NDArray[np.float64]

STEPS = 240  # profile intervals between base and tip: a 100 mm leaf is known every 0.4 mm
_END_SLOPE = 4.0  # half-width lost per mm beyond either end: keeps the signed distance falling off there


@dataclass(frozen=True, eq=False)
class Outline:
    """A leaf's footprint in its own plane: u along the axis from the base, v to the left of it, in mm.

    Attributes
    ----------
    length_mm : float
        Base to tip, seen from above.
    right_mm, left_mm : (STEPS + 3,) float32 ndarray
        Half-width towards −v and +v at stations −1, 0, … STEPS + 1 intervals; 0 at base and tip, negative outside.
    sweep : float
        Stations lie on V-shaped lines u = station + sweep·|t|: positive notches the tip, negative makes a
        heart-shaped base.
    bend : float
        The axis runs along v = bend·u²/length.
    area_mm2 : float
        Exact area of the footprint.
    """

    length_mm: float
    right_mm: FloatArray
    left_mm: FloatArray
    sweep: float
    bend: float
    area_mm2: float

    @property
    def step_mm(self) -> float:
        """Distance between two stations in mm."""
        return self.length_mm / STEPS

    @property
    def widest_mm(self) -> float:
        """Greatest half-width on either side in mm."""
        return float(max(self.right_mm.max(), self.left_mm.max()))


@dataclass(frozen=True, eq=False)
class Footprint:
    """Where points lie on a leaf; all float32 arrays of one shape.

    Attributes
    ----------
    station_mm : distance from the base along the axis, on the swept line through the point.
    across_mm : distance from the axis, positive to the left.
    half_width_mm : half-width of the leaf at the station, on the point's side.
    inside_mm : signed distance to the nearer margin, first order, positive inside.
    coverage : share of a square pixel of the asked size that is leaf, 0..1.
    """

    station_mm: FloatArray
    across_mm: FloatArray
    half_width_mm: FloatArray
    inside_mm: FloatArray
    coverage: FloatArray


def make_outline(right_mm: Profile, left_mm: Profile, *, length_mm: float, sweep: float, bend: float) -> Outline:
    """Close two half-width profiles of STEPS + 1 values (base to tip) and take their area.

    A bent axis is longer than its u extent; the widths are measured across u, so they grow by the same factor to
    stay true
    across the axis.
    """
    step = length_mm / STEPS
    stretch = np.sqrt(1.0 + (2.0 * bend * np.linspace(0.0, 1.0, STEPS + 1)) ** 2)
    closed = [_close(profile * stretch, step) for profile in (right_mm, left_mm)]
    area = step * sum(float(profile[1:-1].sum(dtype=np.float64)) for profile in closed)
    return Outline(length_mm, closed[0], closed[1], sweep, bend, area)


def footprint(outline: Outline, u_mm: FloatArray, v_mm: FloatArray, *, px_mm: float) -> Footprint:
    """Place points on the leaf and say how much of a pixel around each is leaf.

    The two margins are two signed distances. Where they face each other (blade, petiole) the shares they cut off a
    pixel add up, where
    they merge (a blunt end) the larger cut holds; in between the angle of their normals decides. So even a petiole
    thinner than a
    pixel keeps its area.
    """
    reach = _single(np.maximum(u_mm, 0.0))
    slope = reach * (2.0 * outline.bend / outline.length_mm)
    t = v_mm - 0.5 * slope * reach
    soft = 0.15 * outline.widest_mm + 1e-6
    distance = _single(np.sqrt(t * t + soft * soft))
    station = u_mm - outline.sweep * (distance - soft)
    lean = t / distance
    lean *= outline.sweep
    (right, right_slope), (left, left_slope) = _half_widths(outline, station)
    along = lean * slope + 1.0
    # gradients of right − (−t) and left − t over (u, v)
    right_u, right_v = right_slope * along - slope, 1.0 - lean * right_slope
    left_u, left_v = left_slope * along + slope, -1.0 - lean * left_slope
    right_norm = _single(1.0 / np.sqrt(right_u * right_u + right_v * right_v + 1e-12))
    left_norm = _single(1.0 / np.sqrt(left_u * left_u + left_v * left_v + 1e-12))
    right_in, left_in = (right + t) * right_norm, (left - t) * left_norm
    same = _single(0.5 + 0.5 * (right_u * left_u + right_v * left_v) * right_norm * left_norm)
    covered = _covered(right_in, left_in, same, px_mm)
    own_side = _single(np.where(t > 0, left, right))
    return Footprint(station, t, own_side, _single(np.minimum(right_in, left_in)), covered)


def take_points(place: Footprint, chosen: NDArray[np.intp]) -> Footprint:
    """The chosen points of a flat footprint."""
    return Footprint(
        place.station_mm[chosen],
        place.across_mm[chosen],
        place.half_width_mm[chosen],
        place.inside_mm[chosen],
        place.coverage[chosen],
    )


def outline_points(outline: Outline, *, every: int = 6) -> tuple[FloatArray, FloatArray]:
    """Points on the margin and axis as (u, v) arrays in mm, for bounds."""
    station = (np.arange(0, STEPS + 1, every, dtype=np.float32) * outline.step_mm).astype(np.float32)
    pick = slice(1, STEPS + 2, every)
    t = np.concatenate([-outline.right_mm[pick], outline.left_mm[pick], np.zeros_like(station)])
    soft = 0.15 * outline.widest_mm + 1e-6
    u = np.tile(station, 3) + outline.sweep * (np.sqrt(t * t + soft * soft) - soft)
    v = t + outline.bend / outline.length_mm * np.maximum(u, 0.0) ** 2
    return u.astype(np.float32), v.astype(np.float32)


def _close(profile: Profile, step: float) -> FloatArray:
    """A profile that is 0 at both ends and falls below 0 outside."""
    inner = np.maximum(profile, 0.0)
    inner[[0, -1]] = 0.0
    beyond = -_END_SLOPE * step
    return np.concatenate([[beyond], inner, [beyond]]).astype(np.float32)


def _single(values: NDArray[np.floating]) -> FloatArray:
    """The same values as single-precision floats, which they are: for the type checker."""
    return np.asarray(values, np.float32)


def _half_widths(outline: Outline, station: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """Half-width and its slope on both sides at the stations; straight continuation outside."""
    position = station * (1.0 / outline.step_mm) + 1.0
    cell = np.clip(position, 0.0, STEPS + 1.0).astype(np.intp)
    part = position - cell.astype(np.float32)
    found = []
    for profile in (outline.right_mm, outline.left_mm):
        rise = np.diff(profile)
        climb = rise.take(cell)
        found.append((profile.take(cell) + climb * part, climb * np.float32(1.0 / outline.step_mm)))
    return found


def _covered(right_in: FloatArray, left_in: FloatArray, same: FloatArray, px_mm: float) -> FloatArray:
    """Pixel share between two margins at signed distances, given how alike their normals are (0 facing, 1 merged)."""
    scale = 1.0 / px_mm
    right = np.clip(right_in * scale + 0.5, 0.0, 1.0)
    left = np.clip(left_in * scale + 0.5, 0.0, 1.0)
    merged = np.minimum(right, left)
    facing = np.maximum(right + left - 1.0, 0.0)
    return _single(facing + same * (merged - facing))
