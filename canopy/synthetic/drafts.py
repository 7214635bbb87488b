"""A scene before its plants are grown and its camera is placed, and the plain one that all others change."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from canopy.records import Layout, Markers
from canopy.synthetic.cultivars import CULTIVARS
from canopy.synthetic.develop import Look, everyday_look
from canopy.synthetic.grounds import GROUNDS
from canopy.synthetic.light import Light, room_light
from canopy.synthetic.media import MEDIA
from canopy.synthetic.scene import Surroundings

Rng = np.random.Generator
Size = tuple[float, float]

_MAT_MARKER_OFFSET_MM = 40.0


def _layout(name: str, rows: int, columns: int, pitch: Size, outline: Size, kind: str) -> Layout:
    return Layout(
        name=name,
        rows=rows,
        columns=columns,
        pitch_x_mm=pitch[0],
        pitch_y_mm=pitch[1],
        outline_width_mm=outline[0],
        outline_height_mm=outline[1],
        kind=kind,
        # Shoots of a mat lean out over the rim: its markers stand further off.
        markers=Markers(offset_mm=_MAT_MARKER_OFFSET_MM) if kind == "mat" else Markers(),
        source="renderer",
    )


LAYOUTS: dict[str, Layout] = {
    layout.name: layout
    for layout in (
        _layout("50", 5, 10, (52.0, 52.1), (540, 280), "cells"),
        _layout("72", 6, 12, (43.4, 43.4), (540, 280), "cells"),
        _layout("128", 8, 16, (32.7, 33.0), (540, 280), "cells"),
        _layout("200", 10, 20, (26.3, 26.7), (540, 280), "cells"),
        _layout("6x10", 6, 10, (60.0, 66.7), (600, 400), "cells"),
        _layout("8x12", 8, 12, (50.0, 50.0), (600, 400), "cells"),
        _layout("4x6", 4, 6, (150.0, 150.0), (900, 600), "raft"),
        _layout("6x10-raft", 6, 10, (100.0, 100.0), (1000, 600), "raft"),
        _layout("7x14", 7, 14, (36.0, 36.0), (504, 252), "cubes"),
        _layout("4x5", 4, 5, (75.0, 75.0), (390, 315), "cells"),
        _layout("7x13-mat", 7, 13, (40.0, 40.0), (520, 280), "mat"),
    )
}


@dataclass(frozen=True)
class Draft:
    """A scene before its plants are grown and its camera is placed; every field may be changed by a kind."""

    layout: Layout
    cultivar: str
    spread: float
    surroundings: Surroundings
    light: Light
    look: Look
    fill: float = 0.8
    distance_mm: float = 900.0
    tilt_deg: float = 0.0
    turn_deg: float = 0.0
    k1: float = 0.0
    empty: float = 0.03
    dead: float = 0.0
    chlorosis: float = 0.0
    tip_burn: float = 0.0
    wilting: float = 0.0
    unevenness: float = 0.15
    patches: float = 0.0
    neighbours: int = 0
    extra: tuple[str, ...] = field(default=())


RED_CROPS = ("red_leaf", "red_leaf_dark", "cos_red", "oak_leaf_red", "basil_purple", "kale_red")
MAT_CROPS = ("cress", "brassica_shoots", "brassica_shoots_purple", "barley")
LEAFY_CROPS = tuple(name for name in CULTIVARS if name not in (*RED_CROPS, *MAT_CROPS, "thale_rosette"))
PLAIN_STYLES = ("black_tray", "white_tray", "grey_tray")


def plain_draft(rng: Rng) -> Draft:
    """An easy scene: sound plants in a cell tray, even light, a sharp camera looking straight down."""
    layout = LAYOUTS[str(rng.choice(["50", "72", "72", "128", "8x12", "6x10"]))]
    return Draft(
        layout=layout,
        cultivar=str(rng.choice(LEAFY_CROPS)),
        spread=float(rng.uniform(0.45, 1.0)),
        surroundings=Surroundings(
            ground=str(rng.choice(GROUNDS)),
            tray_style=str(rng.choice(PLAIN_STYLES)),
            media=(str(rng.choice(MEDIA)),),
            tray_height_mm=float(rng.uniform(25, 70)),
            wet=float(rng.uniform(0, 0.3)),
        ),
        light=room_light(rng, even=True),
        look=everyday_look(rng, hard=False),
        fill=float(rng.uniform(0.68, 0.82)),
        distance_mm=float(rng.uniform(750, 1400)),
        tilt_deg=float(abs(rng.normal(0, 1.5))),
        turn_deg=float(rng.normal(0, 2)),
        k1=float(rng.normal(0, 0.01)),
    )
