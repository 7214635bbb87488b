"""The picture of a tray in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

from canopy.synthetic.noise import FloatArray


@dataclass(frozen=True)
class TrayPaint:
    """A tray as seen from straight above, with its outline's corner 0 at (0, 0) mm.

    Attributes
    ----------
    albedo : (H, W, 3) float32 array
        Linear-light reflectance, sRGB primaries, 0..1; the shade inside cells is part of it.
    alpha : (H, W) float32 array
        1 where the tray, a marker card or a label covers the ground.
    gloss : (H, W) float32 array
        0 matt .. 1 mirror-like film of water.
    depth_mm : (H, W) float32 array
        0 on the rim plane, negative below it.
    x0_mm, y0_mm : float
        Where the centre of pixel [0, 0] lies.
    mm_per_px : float
    """

    albedo: FloatArray
    alpha: FloatArray
    gloss: FloatArray
    depth_mm: FloatArray
    x0_mm: float
    y0_mm: float
    mm_per_px: float
