"""Kinds of scenes: a plain one, each trouble alone, and mixtures; drawn at random but the same for the same seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from canopy.records import Layout
from canopy.synthetic.clutter import CLUTTER
from canopy.synthetic.cultivar_table import CULTIVARS
from canopy.synthetic.develop import Look, everyday_look
from canopy.synthetic.grounds import GROUNDS
from canopy.synthetic.light import Light, kelvin_rgb, lamp_bars, purple_light, room_light, side_light
from canopy.synthetic.media import MEDIA
from canopy.synthetic.scene import Surroundings

Rng = np.random.Generator


def _cells(name: str, rows: int, columns: int, pitch: tuple[float, float], outline: tuple[float, float], kind: str) -> Layout:
    return Layout(
        name=name,
        rows=rows,
        columns=columns,
        pitch_x_mm=pitch[0],
        pitch_y_mm=pitch[1],
        outline_width_mm=outline[0],
        outline_height_mm=outline[1],
        kind=kind,
        source="renderer",
    )


LAYOUTS: dict[str, Layout] = {
    layout.name: layout
    for layout in (
        _cells("50", 5, 10, (52.0, 52.1), (540, 280), "cells"),
        _cells("72", 6, 12, (43.4, 43.4), (540, 280), "cells"),
        _cells("128", 8, 16, (32.7, 33.0), (540, 280), "cells"),
        _cells("200", 10, 20, (26.3, 26.7), (540, 280), "cells"),
        _cells("6x10", 6, 10, (60.0, 66.7), (600, 400), "cells"),
        _cells("8x12", 8, 12, (50.0, 50.0), (600, 400), "cells"),
        _cells("4x6", 4, 6, (150.0, 150.0), (900, 600), "raft"),
        _cells("6x10-raft", 6, 10, (100.0, 100.0), (1000, 600), "raft"),
        _cells("7x14", 7, 14, (36.0, 36.0), (504, 252), "cubes"),
        _cells("4x5", 4, 5, (75.0, 75.0), (390, 315), "cells"),
        _cells("7x13-mat", 7, 13, (40.0, 40.0), (520, 280), "mat"),
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


Change = Callable[[Draft, Rng], Draft]

_LEAFY = tuple(
    name
    for name in ("butterhead", "cos", "oak_leaf", "basil", "kale", "rocket", "pak_choi", "spinach", "thale_rosette")
    if name in CULTIVARS
)
_MATS = tuple(name for name in ("cress", "brassica_shoots", "barley") if name in CULTIVARS)
_STYLES = ("black_tray", "white_tray", "grey_tray")
_ODD_STYLES = {
    "cells": ("round_cell_tray", "blue_tray", "green_tray", "teal_tray", "terracotta_tray", "styrofoam"),
    "raft": ("raft", "blue_raft", "styrofoam"),
    "cubes": ("cubes", "foam_board"),
    "mat": ("mat", "white_mat"),
}
_POTS = ("pots", "grey_pots", "round_pots")


def plain_draft(rng: Rng) -> Draft:
    """An easy scene: sound plants in a cell tray, even light, a sharp camera looking straight down."""
    layout = LAYOUTS[str(rng.choice(["50", "72", "72", "128", "8x12", "6x10"]))]
    return Draft(
        layout=layout,
        cultivar=str(rng.choice(_LEAFY)),
        spread=float(rng.uniform(0.45, 1.0)),
        surroundings=Surroundings(
            ground=str(rng.choice(GROUNDS)),
            tray_style=str(rng.choice(_STYLES)),
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


def _around(draft: Draft, **changes: object) -> Draft:
    return replace(draft, surroundings=replace(draft.surroundings, **changes))  # type: ignore[arg-type]


def _some(rng: Rng, names: tuple[str, ...], low: int, high: int) -> tuple[str, ...]:
    """Between `low` and `high` different names."""
    count = min(len(names), int(rng.integers(low, high + 1)))
    return tuple(str(name) for name in rng.choice(names, count, replace=False))


def _style(name: str) -> Change:
    return lambda draft, rng: _around(draft, tray_style=name)


def _odd_tray(draft: Draft, rng: Rng) -> Draft:
    """A tray of an uncommon colour or make that suits the layout."""
    return _around(draft, tray_style=str(rng.choice(_ODD_STYLES[draft.layout.kind])))


def _mixed_media(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, media=_some(rng, MEDIA, 2, 3))


def _seedlings(draft: Draft, rng: Rng) -> Draft:
    layout = LAYOUTS[str(rng.choice(["72", "128", "200", "7x14"]))]
    return replace(draft, layout=layout, spread=float(rng.uniform(0.2, 0.55)))


def _finish(draft: Draft, rng: Rng) -> Draft:
    layout = LAYOUTS[str(rng.choice(["4x6", "6x10-raft"]))]
    draft = replace(draft, layout=layout, spread=float(rng.uniform(0.6, 1.05)), distance_mm=float(rng.uniform(1100, 1900)))
    return _odd_tray(draft, rng)


def _red_leaf(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, cultivar="red_leaf")


def _rosettes(draft: Draft, rng: Rng) -> Draft:
    draft = replace(draft, cultivar="thale_rosette", layout=LAYOUTS["4x5"], spread=float(rng.uniform(0.2, 0.95)))
    return _around(draft, tray_style=str(rng.choice(_POTS)))


def _cubes(draft: Draft, rng: Rng) -> Draft:
    draft = replace(draft, layout=LAYOUTS["7x14"], spread=float(rng.uniform(0.3, 0.9)))
    return _around(draft, tray_style="cubes", media=(str(rng.choice(["rockwool", "foam"])),))


def _mat(draft: Draft, rng: Rng) -> Draft:
    draft = replace(draft, layout=LAYOUTS["7x13-mat"], cultivar=str(rng.choice(_MATS)), spread=float(rng.uniform(0.25, 0.8)))
    return _odd_tray(draft, rng)


def _algae(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, algae=float(rng.uniform(0.3, 1.0)), wet=float(rng.uniform(0.3, 1)))


def _wet(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, wet=float(rng.uniform(0.6, 1.0)), over=("droplets",))


def _clutter(draft: Draft, rng: Rng) -> Draft:
    draft = _around(draft, clutter=_some(rng, CLUTTER, 2, 5), clutter_amount=float(rng.uniform(0.3, 1.0)), tape=True)
    return replace(draft, fill=float(rng.uniform(0.5, 0.75)))


def _tilted(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, tilt_deg=float(rng.uniform(6, 18)), turn_deg=float(rng.uniform(-30, 30)), fill=0.68)


def _wide_lens(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, k1=float(rng.choice([-1, 1]) * rng.uniform(0.03, 0.09)), distance_mm=float(rng.uniform(600, 800)))


def _soft(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, look=replace(draft.look, defocus_px=float(rng.uniform(1.2, 2.4))))


def _dark(draft: Draft, rng: Rng) -> Draft:
    return replace(
        draft, look=replace(draft.look, grey=float(rng.uniform(0.025, 0.06)), noise=float(rng.uniform(0.015, 0.035)))
    )


def _bright(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, look=replace(draft.look, grey=float(rng.uniform(0.4, 0.6))))


def _purple(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, light=purple_light(rng))


def _warm(draft: Draft, rng: Rng) -> Draft:
    light = replace(draft.light, rgb=kelvin_rgb(float(rng.choice([rng.uniform(2300, 3300), rng.uniform(9500, 14000)]))))
    return replace(draft, light=light)


def _side(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, light=side_light(rng))


def _bars(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, light=lamp_bars(rng))


def _overlap(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, spread=float(rng.uniform(1.1, 1.5)))


def _gaps(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, empty=float(rng.uniform(0.15, 0.4)), dead=float(rng.uniform(0.03, 0.12)), patches=0.5)


def _chlorosis(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, chlorosis=float(rng.uniform(0.3, 0.9)))


def _tip_burn(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, tip_burn=float(rng.uniform(0.3, 0.9)))


def _wilting(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, wilting=float(rng.uniform(0.3, 0.9)))


def _hand(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, over=("hand",))


def _neighbours(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, neighbours=int(rng.integers(1, 3)), fill=float(rng.uniform(0.5, 0.65)))


def _hard_look(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, look=everyday_look(rng), light=room_light(rng))


CHANGES: dict[str, Change] = {
    "black_tray": _style("black_tray"),
    "white_tray": _style("white_tray"),
    "grey_tray": _style("grey_tray"),
    "odd_tray": _odd_tray,
    "mixed_media": _mixed_media,
    "seedlings": _seedlings,
    "finish": _finish,
    "red_leaf": _red_leaf,
    "rosettes": _rosettes,
    "cubes": _cubes,
    "mat": _mat,
    "algae": _algae,
    "wet": _wet,
    "clutter": _clutter,
    "tilted": _tilted,
    "wide_lens": _wide_lens,
    "soft": _soft,
    "dark": _dark,
    "bright": _bright,
    "purple": _purple,
    "warm": _warm,
    "side": _side,
    "bars": _bars,
    "overlap": _overlap,
    "gaps": _gaps,
    "chlorosis": _chlorosis,
    "tip_burn": _tip_burn,
    "wilting": _wilting,
    "hand": _hand,
    "neighbours": _neighbours,
    "hard_look": _hard_look,
}

KINDS: tuple[str, ...] = ("plain", *CHANGES, "mixed")


def draft_of(kind: str, rng: Rng) -> Draft:
    """A random draft of a kind; `mixed` applies one to five changes in random order."""
    draft = plain_draft(rng)
    if kind == "mixed":
        for name in _some(rng, tuple(CHANGES), 1, 5):
            draft = CHANGES[name](draft, rng)
        return draft
    return CHANGES[kind](draft, rng) if kind != "plain" else draft
