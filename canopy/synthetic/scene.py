"""What is in a picture before it is drawn: trays, plants, ground, light, camera and how the camera develops it."""

from __future__ import annotations

from dataclasses import dataclass, field

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
