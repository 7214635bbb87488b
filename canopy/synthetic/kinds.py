"""Kinds of scenes: a plain one, each trouble alone, and mixtures; drawn at random but the same for the same seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from canopy.synthetic.clutter import CLUTTER
from canopy.synthetic.develop import everyday_look
from canopy.synthetic.drafts import LAYOUTS, MAT_CROPS, RED_CROPS, Draft, Rng, plain_draft
from canopy.synthetic.light import kelvin_rgb, lamp_bars, purple_light, room_light, side_light
from canopy.synthetic.media import MEDIA
from canopy.synthetic.over import OVER

Change = Callable[[Draft, Rng], Draft]

_GREEN_HEADS = (
    "butterhead",
    "butterhead_pale",
    "cos",
    "green_leaf",
    "oak_leaf",
    "basil",
    "kale",
    "pak_choi",
    "spinach",
)
_HEADS = (*_GREEN_HEADS, *RED_CROPS)
_ODD_STYLES = {
    "cells": ("round_cell_tray", "blue_tray", "green_tray", "teal_tray", "terracotta_tray", "styrofoam"),
    "raft": ("raft", "blue_raft", "styrofoam"),
    "cubes": ("cubes", "foam_board"),
    "mat": ("mat", "white_mat"),
}
_POTS = ("pots", "grey_pots", "round_pots")


def _around(draft: Draft, **changes: object) -> Draft:
    return replace(draft, surroundings=replace(draft.surroundings, **changes))  # type: ignore[arg-type]


def _some(rng: Rng, names: tuple[str, ...], low: int, high: int) -> tuple[str, ...]:
    """Between `low` and `high` different names."""
    count = min(len(names), int(rng.integers(low, high + 1)))
    return tuple(str(name) for name in rng.choice(names, count, replace=False))


def _style(name: str) -> Change:
    return lambda draft, _: _around(draft, tray_style=name)


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
    draft = replace(draft, layout=layout, cultivar=str(rng.choice(_HEADS)), spread=float(rng.uniform(0.6, 1.05)))
    draft = replace(draft, distance_mm=float(rng.uniform(1100, 1900)))
    return _odd_tray(draft, rng)


def _red_leaf(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, cultivar=str(rng.choice(RED_CROPS)))


def _rosettes(draft: Draft, rng: Rng) -> Draft:
    draft = replace(draft, cultivar="thale_rosette", layout=LAYOUTS["4x5"], spread=float(rng.uniform(0.2, 0.95)))
    return _around(draft, tray_style=str(rng.choice(_POTS)))


def _cubes(draft: Draft, rng: Rng) -> Draft:
    draft = replace(draft, layout=LAYOUTS["7x14"], spread=float(rng.uniform(0.3, 0.9)))
    return _around(draft, tray_style="cubes", media=(str(rng.choice(["rockwool", "foam"])),))


def _mat(draft: Draft, rng: Rng) -> Draft:
    cultivar, spread = str(rng.choice(MAT_CROPS)), float(rng.uniform(0.25, 0.8))
    return _odd_tray(replace(draft, layout=LAYOUTS["7x13-mat"], cultivar=cultivar, spread=spread), rng)


def _algae(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, algae=float(rng.uniform(0.3, 1.0)), wet=float(rng.uniform(0.3, 1)))


def _wet(draft: Draft, rng: Rng) -> Draft:
    return _around(draft, wet=float(rng.uniform(0.6, 1.0)), over=("droplets",))


def _over(draft: Draft, rng: Rng) -> Draft:
    """Lines, stakes and litter across the leaves."""
    return _around(draft, over=_some(rng, tuple(name for name in OVER if "hand" not in name), 1, 3))


def _clutter(draft: Draft, rng: Rng) -> Draft:
    draft = _around(draft, clutter=_some(rng, CLUTTER, 2, 5), clutter_amount=float(rng.uniform(0.3, 1.0)), tape=True)
    return replace(draft, fill=float(rng.uniform(0.5, 0.75)))


def _tilted(draft: Draft, rng: Rng) -> Draft:
    return replace(draft, tilt_deg=float(rng.uniform(6, 18)), turn_deg=float(rng.uniform(-30, 30)), fill=0.68)


def _wide_lens(draft: Draft, rng: Rng) -> Draft:
    k1 = float(rng.choice([-1, 1]) * rng.uniform(0.03, 0.09))
    return replace(draft, k1=k1, distance_mm=float(rng.uniform(600, 800)))


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
    return _around(draft, over=(str(rng.choice(["hand", "gloved_hand"])),))


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
    "over": _over,
    "neighbours": _neighbours,
    "hard_look": _hard_look,
}

KINDS: tuple[str, ...] = ("plain", *CHANGES, "mixed")

DESCRIPTIONS: dict[str, str] = {
    "plain": "Sound plants in a cell tray, even light, a sharp camera straight above.",
    "black_tray": "The plain scene in a black tray.",
    "white_tray": "The plain scene in a white tray.",
    "grey_tray": "The plain scene in a grey tray.",
    "odd_tray": "A tray of an uncommon colour or make: blue, green, teal, terracotta, foam, round cells.",
    "mixed_media": "Two or three growing media side by side.",
    "seedlings": "Young seedlings in trays of many cells.",
    "finish": "Grown plants on rafts.",
    "red_leaf": "Red or purple leaved crops.",
    "rosettes": "Thale cress in single pots.",
    "cubes": "Plants in rockwool or foam cubes.",
    "mat": "Shoots sown densely on a mat.",
    "algae": "A green film of algae on wet medium.",
    "wet": "Wet medium that mirrors the light, drops of water on the leaves.",
    "clutter": "Crumbs, pegs, tools, cables and coloured tape around the tray.",
    "tilted": "The camera leans 6 to 18 degrees and is turned.",
    "wide_lens": "A wide lens close by, with barrel or pincushion distortion.",
    "soft": "A blurred picture.",
    "dark": "An underexposed, noisy picture.",
    "bright": "An overexposed picture.",
    "purple": "Red and blue grow lights with little green.",
    "warm": "A strong yellow or blue cast.",
    "side": "A low lamp or window: long shadows, one bright side.",
    "bars": "Lamp bars close above: bright and dark stripes.",
    "overlap": "Plants larger than their cells, leaf over leaf.",
    "gaps": "Many empty cells, some dead plants, patches of weak growth.",
    "chlorosis": "Yellowing leaves.",
    "tip_burn": "Brown leaf margins.",
    "wilting": "Hanging leaves.",
    "hand": "A hand, bare or gloved, over the tray.",
    "over": "Drip lines, stakes and litter across the leaves.",
    "neighbours": "One or two more trays of the same crop in view.",
    "hard_look": "Any light and every camera fault at its widest.",
    "mixed": "One to five of the kinds above at once.",
}
"""One sentence a kind."""


def draft_of(kind: str, rng: Rng) -> Draft:
    """A random draft of a kind; `mixed` applies one to five changes in random order."""
    draft = plain_draft(rng)
    if kind == "mixed":
        for name in _some(rng, tuple(CHANGES), 1, 5):
            draft = CHANGES[name](draft, rng)
        return draft
    return CHANGES[kind](draft, rng) if kind != "plain" else draft
