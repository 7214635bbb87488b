"""What is in a picture before it is drawn: trays, plants, ground, light, camera and how the camera develops it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from canopy.records import Layout
from canopy.synthetic.camera import Camera
from canopy.synthetic.develop import Look
from canopy.synthetic.light import Light
from canopy.synthetic.plants import Plant


@dataclass(frozen=True)
class Surroundings:
    """Everything that is not plant; names are those of `grounds`, `clutter`, `media`, `trays` and `over`.

    Attributes
    ----------
    ground : str
    clutter : tuple of str
    clutter_amount : float
        0..1.
    tray_style : str
        Empty: no tray, the plants stand on the ground.
    media : tuple of str
    tray_height_mm : float
        Rim above the ground.
    algae, wet : float
        0..1.
    markers : bool
    label_text : str or None
    tape : bool
    over : tuple of str
        Things above the leaves (hand, hose, droplets).
    """

    ground: str
    clutter: tuple[str, ...] = ()
    clutter_amount: float = 0.0
    tray_style: str = ""
    media: tuple[str, ...] = ()
    tray_height_mm: float = 50.0
    algae: float = 0.0
    wet: float = 0.0
    markers: bool = True
    label_text: str | None = None
    tape: bool = False
    over: tuple[str, ...] = ()


@dataclass(frozen=True)
class Neighbour:
    """Another tray of the same kind in view, moved by (dx, dy) mm; its plants are canopy but not this tray's."""

    dx_mm: float
    dy_mm: float
    plants: tuple[Plant, ...]


@dataclass(frozen=True)
class Scene:
    """One picture to be drawn; the same scene gives the same bytes.

    `seed` drives textures and noise only: plants carry their own.
    """

    name: str
    kind: str
    layout: Layout
    plants: tuple[Plant, ...]
    surroundings: Surroundings
    light: Light
    camera: Camera
    look: Look
    seed: int
    neighbours: tuple[Neighbour, ...] = field(default=())
    tray: str = ""

    @property
    def tray_id(self) -> str:
        """The tray's name; a single picture's tray is called as the picture."""
        return self.tray or self.name


def tile_at(layout: Layout, x_mm: NDArray[np.float32], y_mm: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Cell numbers of points on a mat, where no plant can be told from the next: a tile owns what stands over it.

    Points beyond the mat belong to the tile next to them.
    """
    first = layout.centres_mm()[0]
    col = np.clip(np.rint((x_mm - first[0]) / layout.pitch_x_mm), 0, layout.columns - 1)
    row = np.clip(np.rint((y_mm - first[1]) / layout.pitch_y_mm), 0, layout.rows - 1)
    return np.asarray(row * layout.columns + col + 1, np.uint16)
