"""Where rim, walls and medium of a tray lie: maps of one value per pixel, from the layout alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from canopy.records import Layout
from canopy.synthetic.noise import FloatArray, IntArray, Raster, fractal_noise
from canopy.synthetic.shapes import box_distance
from canopy.synthetic.tray_styles import TrayStyle


@dataclass(frozen=True)
class CellMap:
    """Maps (H, W) of a tray's geometry.

    Attributes
    ----------
    index : int32 array
        Number of the nearest cell in reading order, 0..count − 1.
    offset_x, offset_y : float32 arrays
        mm from that cell's centre.
    body : float32 array
        Share of a pixel inside the tray's rounded outline.
    filling : float32 array
        Share of a pixel that shows medium.
    depth_mm : float32 array
        0 on the rim, negative below.
    deck_height_mm : float32 array
        Relief of the body for shading.
    wall_light, hollow_light : float32 arrays
        Light on walls and on the medium between them, as factors.
    from_wall_mm, from_hole_mm : float32 arrays
        How far inside the medium's edge, and inside the hole's edge at the rim; negative outside it.
    from_edge_mm : float32 array
        How far inside the tray's outline.
    count : int
    half_pitch_mm : (float, float)
        Half the distance of cell centres in x and y.
    """

    index: IntArray
    offset_x: FloatArray
    offset_y: FloatArray
    body: FloatArray
    filling: FloatArray
    depth_mm: FloatArray
    deck_height_mm: FloatArray
    wall_light: FloatArray
    hollow_light: FloatArray
    from_wall_mm: FloatArray
    from_hole_mm: FloatArray
    from_edge_mm: FloatArray
    count: int
    half_pitch_mm: tuple[float, float]

    def pick(self, values: FloatArray) -> FloatArray:
        """Spread one value per cell over its pixels."""
        return values.astype(np.float32)[self.index]


def map_cells(
    layout: Layout, look: TrayStyle, raster: Raster, *, margin_mm: float, rng: np.random.Generator
) -> CellMap:
    """Lay a style's rim, walls and medium out over a raster that starts `margin_mm` outside corner 0."""
    x, y = (axis - np.float32(margin_mm) for axis in raster.axes_mm())
    index, dx, dy = _nearest_cell(layout, x, y)
    to_edge = _body_distance(layout, look, x, y)
    hole = _hole_distance(layout, look, dx, dy, to_edge)
    count = layout.cells
    if look.hole == "open":
        index, count = np.zeros_like(index), 1
    depth = rng.uniform(*look.depth_mm, count).astype(np.float32)[index]
    wall = np.maximum(np.float32(look.wall) * depth, np.float32(0.05))  # width of the wall as seen from above, mm
    inside = -hole - wall
    pixel = np.float32(raster.mm_per_px)
    body = np.clip(np.float32(0.5) - to_edge / pixel, 0, 1)
    filling = np.clip(np.float32(0.5) + inside / pixel, 0, 1) * body
    down = np.clip(-hole / wall, 0, 1)
    dip = np.clip(fractal_noise(raster, coarse_mm=25, fine_mm=4, rng=rng), -1.5, 1.5) * np.float32(0.15) * filling
    return CellMap(
        index=index,
        offset_x=dx,
        offset_y=dy,
        body=body,
        filling=filling,
        depth_mm=np.minimum(-depth * down * (1 + dip), 0) * body,
        deck_height_mm=_deck_height(look, to_edge, hole, depth * down),
        wall_light=1 - np.float32(0.6) * down,
        hollow_light=_hollow_light(inside, depth, look),
        from_wall_mm=inside,
        from_hole_mm=-hole,
        from_edge_mm=-to_edge,
        count=count,
        half_pitch_mm=(layout.pitch_x_mm / 2, layout.pitch_y_mm / 2),
    )


def _deck_height(look: TrayStyle, to_edge: FloatArray, hole: FloatArray, depth: FloatArray) -> FloatArray:
    """Relief for shading: rounded outer edge, a step inside the rim, rounded edges and leaning walls of the cells."""
    outer = 2 * np.sqrt(np.clip(-to_edge / np.float32(3), 0, 1))
    inner = np.clip((np.float32(look.rim_mm) + to_edge) / np.float32(1.5), -1, 0) * np.float32(look.rim_mm > 0)
    lip = np.sqrt(np.clip(hole / np.float32(1.5), 0, 1))
    height: FloatArray = outer + inner + lip - depth * np.float32(0.6)
    return height


def _nearest_cell(layout: Layout, x: FloatArray, y: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    centres = layout.centres_mm().reshape(layout.rows, layout.columns, 2).astype(np.float32)
    row = np.clip(np.round((y[:, 0] - centres[0, 0, 1]) / layout.pitch_y_mm), 0, layout.rows - 1).astype(np.int32)
    dy = (y[:, 0] - centres[row, 0, 1])[:, None]
    start = centres[row, 0, 0][:, None]
    col = np.clip(np.round((x - start) / np.float32(layout.pitch_x_mm)), 0, layout.columns - 1).astype(np.int32)
    dx = x - start - col * np.float32(layout.pitch_x_mm)
    index = row[:, None] * layout.columns + col
    return index.astype(np.int32), dx.astype(np.float32), np.broadcast_to(dy, dx.shape).astype(np.float32)


def _body_distance(layout: Layout, look: TrayStyle, x: FloatArray, y: FloatArray) -> FloatArray:
    half_w, half_h = layout.outline_width_mm / 2, layout.outline_height_mm / 2
    corner = min(look.body_corner_mm, 0.3 * half_w, 0.3 * half_h)
    return box_distance(x - np.float32(half_w), y - np.float32(half_h), half_u=half_w, half_v=half_h, corner=corner)


def _hole_distance(layout: Layout, look: TrayStyle, dx: FloatArray, dy: FloatArray, to_edge: FloatArray) -> FloatArray:
    """Signed distance to the cell's hole, mm, negative inside."""
    if look.hole == "open":
        return to_edge + np.float32(look.rim_mm)
    half_x, half_y = look.opening * layout.pitch_x_mm / 2, look.opening * layout.pitch_y_mm / 2
    if look.hole == "round":
        half_x = half_y = min(half_x, half_y)
    distance = box_distance(dx, dy, half_u=half_x, half_v=half_y, corner=look.corner * min(half_x, half_y))
    return np.asarray(np.maximum(distance, to_edge + np.float32(0.5 * look.rim_mm)), np.float32)


def _hollow_light(inside: FloatArray, depth: FloatArray, look: TrayStyle) -> FloatArray:
    """Less sky is seen near a deep wall: light falls off towards it."""
    reach = np.maximum(depth * np.float32(0.5), np.float32(0.4))
    if look.hole == "cube":
        return 1 - np.float32(0.5) * np.exp(-np.maximum(inside, 0) / np.float32(0.7))
    return np.asarray(1 - np.float32(0.6) * np.exp(-np.maximum(inside, 0) / reach), np.float32)
