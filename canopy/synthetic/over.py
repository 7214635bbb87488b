"""Things between the leaves and the lens: a hand, a hose, a stake, drops."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from canopy.synthetic import things
from canopy.synthetic.cords import cord
from canopy.synthetic.hands import hand
from canopy.synthetic.noise import FloatArray, Raster
from canopy.synthetic.shapes import Stamp

Maker = Callable[[Raster, np.random.Generator], list[tuple[Stamp, bool]]]


def _several(painter: things.ThingPainter, low: int, high: int) -> Maker:
    return lambda raster, rng: [
        (painter(raster.mm_per_px, rng), False) for _ in range(int(rng.integers(low, high + 1)))
    ]


def _one_cord(kind: str) -> Maker:
    return lambda raster, rng: [(cord(kind, raster, rng), True)]


def _droplets(raster: Raster, rng: np.random.Generator) -> list[tuple[Stamp, bool]]:
    count = min(600, int(rng.uniform(400, 2500) * raster.area_mm2 / 1e6) + 3)
    return [(things.droplet(raster.mm_per_px, rng), False) for _ in range(count)]


_MAKERS: dict[str, Maker] = {
    "hand": lambda raster, rng: [(hand(raster, rng, gloved=False), True)],
    "gloved_hand": lambda raster, rng: [(hand(raster, rng, gloved=True), True)],
    "drip_hose": _one_cord("hoses"),
    "cable": _one_cord("cables"),
    "string": _one_cord("string"),
    "stake": _several(things.stake, 1, 3),
    "peg": _several(things.peg, 1, 6),
    "label_stick": _several(things.label_stick, 1, 4),
    "droplets": _droplets,
    "dead_leaf_bits": _several(things.leaf_bit, 2, 12),
    "clip": _several(things.clip, 1, 4),
}
OVER: tuple[str, ...] = tuple(_MAKERS)


def paint_over(
    height_px: int, width_px: int, *, mm_per_px: float, rng: np.random.Generator, kinds: Sequence[str]
) -> tuple[FloatArray, FloatArray]:
    """Paint things that hang or lie above the plants.

    Parameters
    ----------
    height_px, width_px : int
    mm_per_px : float
        Scale at the height of the things.
    rng : numpy.random.Generator
        Same state, same bytes.
    kinds : sequence of str
        Names from `OVER`.

    Returns
    -------
    albedo : (H, W, 3) float32 array
        Linear-light reflectance where `alpha` is above 0.
    alpha : (H, W) float32 array
        1 where nothing below is seen, partial through drops of water.
    """
    raster = Raster(height_px, width_px, mm_per_px)
    colour = np.zeros((height_px, width_px, 3), np.float32)  # premultiplied: colour × alpha
    alpha = np.zeros((height_px, width_px), np.float32)
    for kind in kinds:
        if kind not in _MAKERS:
            raise ValueError(f"thing above the leaves {kind!r} is unknown; choose from {', '.join(OVER)}")
        for stamp, spans in _MAKERS[kind](raster, rng):
            row = (height_px - 1) / 2 if spans else float(rng.uniform(0, height_px))
            col = (width_px - 1) / 2 if spans else float(rng.uniform(0, width_px))
            _pile(colour, alpha, stamp, row=row, col=col)
    return np.clip(colour / np.maximum(alpha, 1e-6)[..., None], 0, 1), np.clip(alpha, 0, 1)


def _pile(colour: FloatArray, alpha: FloatArray, stamp: Stamp, *, row: float, col: float) -> None:
    """Lay a stamp over what is there already, both premultiplied (Porter & Duff 1984, operator over)."""
    here, there = stamp.windows(colour.shape, row=row, col=col)
    weight = stamp.alpha[there]
    colour[here] = colour[here] * (1 - weight)[..., None] + stamp.albedo[there] * weight[..., None]
    alpha[here] = alpha[here] * (1 - weight) + weight
