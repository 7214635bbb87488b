"""From a draft to a scene: plants grown in their cells, the camera placed over the tray."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.synthetic.camera import Camera, look_at
from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.drafts import Draft
from canopy.synthetic.kinds import draft_of
from canopy.synthetic.leaves import leaf_bounds_mm
from canopy.synthetic.plants import Plant, Stress, grow_plant
from canopy.synthetic.scene import Neighbour, Scene
from canopy.synthetic.variety import draw_variety

_YOUNGEST_DAS, _OLDEST_DAS = 3.0, 45.0
_BISECTIONS = 9
_MAT_SPACING_MM = 9.0
_MEDIUM_BELOW_RIM_MM = 5.0
_LARGEST_RIM_GAP_MM = 60.0


def make_scene(kind: str, *, seed: int, width_px: int = 4000, height_px: int = 3000, name: str = "") -> Scene:
    """A random scene of a kind; the same arguments give the same scene."""
    rng = np.random.default_rng([seed, 0])
    draft = draft_of(kind, rng)
    das = das_for_diameter(draft.cultivar, draft.spread * pitch_mm(draft.layout), seed=seed)
    plants = grow_tray(draft, das=das, seed=seed)
    return compose(draft, plants, kind=kind, seed=seed, width_px=width_px, height_px=height_px, name=name)


def compose(
    draft: Draft, plants: tuple[Plant, ...], *, kind: str, seed: int, width_px: int, height_px: int, name: str = ""
) -> Scene:
    """Put grown plants, a camera and neighbours together."""
    return Scene(
        name=name or f"{kind}_{seed:05d}",
        kind=kind,
        layout=draft.layout,
        plants=plants,
        surroundings=draft.surroundings,
        light=draft.light,
        camera=_camera(draft, seed, width_px, height_px),
        look=draft.look,
        seed=seed,
        neighbours=_neighbours(draft, plants, seed),
    )


def pitch_mm(layout: Layout) -> float:
    """Room of one plant; on a mat the shoots are told apart by nothing, so their own spacing counts."""
    return min(layout.pitch_x_mm, layout.pitch_y_mm) if layout.kind != "mat" else 6 * _MAT_SPACING_MM


def das_for_diameter(cultivar: str, diameter_mm: float, *, seed: int) -> float:
    """Days after sowing at which a typical plant of this tray's variety is about this wide, by bisection."""
    variety = draw_variety(CULTIVARS[cultivar], seed=seed)
    low, high = _YOUNGEST_DAS, _OLDEST_DAS
    for _ in range(_BISECTIONS):
        das = (low + high) / 2
        plant = grow_plant(variety, index=1, x_mm=0, y_mm=0, base_z_mm=0, das=das, vigour=1.0, seed=seed)
        low, high = (das, high) if plant_diameter_mm(plant) < diameter_mm else (low, das)
    return round((low + high) / 2, 1)


def plant_diameter_mm(plant: Plant) -> float:
    """Mean of the plant's extents in x and y; 0 before it emerges."""
    if not plant.leaves:
        return 0.0
    boxes = np.array([leaf_bounds_mm(leaf) for leaf in plant.leaves])
    return float(np.mean(boxes[:, 3:5].max(axis=0) - boxes[:, 0:2].min(axis=0)))


def grow_tray(draft: Draft, *, das: float, seed: int) -> tuple[Plant, ...]:
    """Grow the plants of one tray; the same seed grows the same tray at every age."""
    rng = np.random.default_rng([seed, 2])
    variety = draw_variety(CULTIVARS[draft.cultivar], seed=seed)
    places = _places(draft.layout, rng)
    vigours = np.exp(rng.normal(0, draft.unevenness, len(places)))
    vigours *= _patches(draft.layout, places[:, 1:], draft.patches, rng)
    fates = rng.random((len(places), 2))
    stresses = rng.random((len(places), 3)) ** 1.5
    plants = []
    for number, (cell, x, y) in enumerate(places):
        if fates[number, 0] < draft.empty:
            continue
        stress = Stress(
            chlorosis=float(draft.chlorosis * stresses[number, 0]),
            tip_burn=float(draft.tip_burn * stresses[number, 1]),
            wilting=float(draft.wilting * stresses[number, 2]),
            dead=bool(fates[number, 1] < draft.dead),
        )
        plants.append(
            grow_plant(
                variety,
                index=int(cell),
                x_mm=float(x),
                y_mm=float(y),
                base_z_mm=-_MEDIUM_BELOW_RIM_MM if draft.surroundings.tray_style else 0.0,
                das=das,
                vigour=float(vigours[number]),
                seed=seed * 10007 + number,
                stress=stress,
            )
        )
    return tuple(plants)


def _places(layout: Layout, rng: np.random.Generator) -> NDArray[np.float64]:
    """(n, 3) cell number, x, y of every plant: one per cell a little off its centre, or many over a mat."""
    centres = layout.centres_mm()
    if layout.kind != "mat":
        offset = rng.normal(0, 0.05, centres.shape) * (layout.pitch_x_mm, layout.pitch_y_mm)
        return np.column_stack([np.arange(1, len(centres) + 1), centres + offset])
    wide, high = layout.columns * layout.pitch_x_mm, layout.rows * layout.pitch_y_mm
    x, y = np.meshgrid(*(np.arange(_MAT_SPACING_MM / 2, side, _MAT_SPACING_MM) for side in (wide, high)))
    spots = np.column_stack([x.ravel(), y.ravel()]) + rng.normal(0, 0.3 * _MAT_SPACING_MM, (x.size, 2))
    spots = np.clip(spots, 0, (wide - 1e-6, high - 1e-6))
    cell = (spots[:, 1] // layout.pitch_y_mm) * layout.columns + spots[:, 0] // layout.pitch_x_mm + 1
    corner = centres[0] - (layout.pitch_x_mm / 2, layout.pitch_y_mm / 2)
    return np.column_stack([cell, spots + corner])


def _patches(layout: Layout, xy: NDArray[np.float64], amount: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Vigour that changes smoothly over the tray: a dry row, a dark corner."""
    waves = rng.uniform(0.5, 1.5, 2) * 2 * np.pi / (layout.outline_width_mm, layout.outline_height_mm)
    phase = rng.uniform(0, 2 * np.pi)
    return np.asarray(1 - amount * 0.35 * (1 + np.sin(xy @ waves + phase)))


def _camera(draft: Draft, seed: int, width_px: int, height_px: int) -> Camera:
    """The camera over the tray; turned by a quarter when the picture is upright and the tray is not."""
    rng = np.random.default_rng([seed, 3])
    layout, markers = draft.layout, draft.layout.markers
    reach = 2 * (markers.offset_mm + markers.side_mm) if draft.surroundings.markers else 10.0
    span = layout.outline_width_mm + reach, layout.outline_height_mm + reach
    upright = (height_px > width_px) != (span[1] > span[0])
    centre = np.array([layout.outline_width_mm, layout.outline_height_mm]) / 2 + rng.normal(0, 6, 2)
    return look_at(
        (float(centre[0]), float(centre[1])),
        span,
        width_px=width_px,
        height_px=height_px,
        fill=draft.fill,
        distance_mm=draft.distance_mm,
        tilt_deg=draft.tilt_deg,
        tilt_towards_deg=float(rng.uniform(0, 360)),
        turn_deg=draft.turn_deg + (90 if upright else 0),
        k1=draft.k1,
    )


def _neighbours(draft: Draft, plants: tuple[Plant, ...], seed: int) -> tuple[Neighbour, ...]:
    """Trays beside this one, on its right or below, with the same plants at other places."""
    rng = np.random.default_rng([seed, 4])
    layout = draft.layout
    reach = 2 * layout.markers.offset_mm + layout.markers.side_mm if draft.surroundings.markers else 0.0
    sides: list[tuple[float, float]] = []
    for along, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
        gaps = rng.uniform(5, _LARGEST_RIM_GAP_MM, 2)
        dx, dy = sign * (np.array([layout.outline_width_mm, layout.outline_height_mm]) + reach + gaps)
        sides.append((float(dx * along), float(dy * (1 - along))))
    chosen = rng.permutation(len(sides))[: draft.neighbours]
    return tuple(Neighbour(sides[i][0], sides[i][1], plants) for i in chosen)
