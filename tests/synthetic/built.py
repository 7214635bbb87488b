"""Scenes built by hand for these tests: flat elliptic leaves whose area is known on paper, a faultless camera."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from canopy.records import Layout
from canopy.synthetic.camera import Camera, look_at
from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.damage import LeafDamage
from canopy.synthetic.develop import Look
from canopy.synthetic.leaf_outline import STEPS, make_outline
from canopy.synthetic.leaves import Leaf, Relief, make_leaf
from canopy.synthetic.light import Light
from canopy.synthetic.plants import Plant, grow_plant
from canopy.synthetic.scene import Scene, Surroundings

# Not square in any respect, so that swapped axes show.
LAYOUT = Layout(
    name="2x3", rows=2, columns=3, pitch_x_mm=60, pitch_y_mm=50, outline_width_mm=200, outline_height_mm=120
)
FLAT = Relief(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
EVEN_LIGHT = Light(
    rgb=(1.0, 1.0, 1.0), direct=0.2, azimuth_deg=0.0, elevation_deg=80.0, penumbra=0.3,
    unevenness=0.0, bars=0.0, tint_unevenness=0.0,
)  # fmt: skip
FAULTLESS = Look(
    defocus_px=0.0, motion_px=0.0, motion_deg=0.0, vignetting=0.0, grey=0.18, balance=(1.0, 1.0, 1.0), crosstalk=0.0,
    noise=0.0, gamma=2.2, contrast=0.0, saturation=1.0, sharpening=0.0, haze=0.0, chromatic_px=0.0,
)  # fmt: skip


def ellipse_leaf(
    *,
    plant: int,
    x_mm: float,
    y_mm: float,
    z_mm: float = 0.0,
    length_mm: float = 40.0,
    width_mm: float = 18.0,
    azimuth_rad: float = 0.0,
) -> Leaf:
    """A flat, level, healthy leaf; its base lies at (x, y), its outline is an ellipse, its area π/4·length·width."""
    s = np.linspace(-1.0, 1.0, STEPS + 1)
    half = width_mm / 2 * np.sqrt(np.clip(1.0 - s * s, 0.0, None))
    outline = make_outline(half, half, length_mm=length_mm, sweep=0.0, bend=0.0)
    grown = grow_plant(
        CULTIVARS["butterhead"], index=plant, x_mm=0, y_mm=0, base_z_mm=0, das=20.0, vigour=1.0, seed=5
    ).leaves  # fmt: skip
    look = max(grown, key=lambda leaf: leaf.area_mm2).look
    return make_leaf(
        plant=plant, part="leaf", base_mm=(x_mm, y_mm, z_mm), azimuth_rad=azimuth_rad, outline=outline, relief=FLAT,
        look=look, damage=LeafDamage(),
    )  # fmt: skip


def plant_of(index: int, *leaves: Leaf, alive: bool = True) -> Plant:
    """A plant made of given leaves."""
    return Plant(
        index=index, x_mm=leaves[0].x_mm, y_mm=leaves[0].y_mm, cultivar="butterhead", das=12.0, leaves=leaves,
        height_mm=10.0, weight_g=2.0, alive=alive, wilted=0.0, yellow=0.0, brown=0.0,
    )  # fmt: skip


def camera_over(
    layout: Layout = LAYOUT, *, width_px: int = 640, height_px: int = 480, fill: float = 0.8, **more: float
) -> Camera:
    """A camera over the middle of the tray that sees its markers."""
    reach = 2 * (layout.markers.offset_mm + layout.markers.side_mm)
    return look_at(
        (layout.outline_width_mm / 2, layout.outline_height_mm / 2),
        (layout.outline_width_mm + reach, layout.outline_height_mm + reach),
        width_px=width_px, height_px=height_px, fill=fill, **{"distance_mm": 900.0, **more},
    )  # fmt: skip


def scene_of(*plants: Plant, layout: Layout = LAYOUT, camera: Camera | None = None, **more: object) -> Scene:
    """A scene of given plants in a black tray on concrete; `more` are fields of the scene or of its surroundings."""
    around = Surroundings(ground="concrete", tray_style="black_tray", media=("peat",))
    of_scene = {name: more.pop(name) for name in list(more) if name in Scene.__dataclass_fields__}
    scene = Scene(
        name="built", kind="built", layout=layout, plants=plants, surroundings=replace(around, **more),
        light=EVEN_LIGHT, camera=camera or camera_over(layout), look=FAULTLESS, seed=3,
    )  # fmt: skip
    return replace(scene, **of_scene)


def ellipse_area_mm2(length_mm: float = 40.0, width_mm: float = 18.0) -> float:
    """Textbook area of an ellipse with these axes."""
    return math.pi / 4 * length_mm * width_mm
