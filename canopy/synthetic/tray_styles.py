"""What trays look like: colour, holes, rims. Sizes are common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TrayStyle:
    """Looks of one sort of tray.

    Attributes
    ----------
    colour : str
        Body colour (sRGB hex).
    hole : str
        `square`, `round`, `cube` (blocks of medium with cuts between) or `open` (one bed of medium, no cells).
    opening : float
        Width of a hole (or block) as a share of the pitch, 0..1.
    corner : float
        Corner radius of a hole as a share of its half width (1 is round).
    depth_mm : (float, float)
        Range of how deep the medium lies below the rim.
    wall : float
        How far a wall leans inwards, mm per mm of depth.
    rim_mm : float
        Width of the raised outer rim.
    body_corner_mm : float
        Corner radius of the tray.
    pot_rim_mm : float
        Width of the rim of separate pots; 0 for cells of one sheet.
    pot_colour : str
        Colour of separate pots.
    scuff : float
        Strength of wear marks.
    gloss : float
    """

    colour: str
    hole: str = "square"
    opening: float = 0.88
    corner: float = 0.25
    depth_mm: tuple[float, float] = (3.0, 12.0)
    wall: float = 0.18
    rim_mm: float = 5.0
    body_corner_mm: float = 10.0
    pot_rim_mm: float = 0.0
    pot_colour: str = "#1a1a1b"
    scuff: float = 0.06
    gloss: float = 0.25


STYLES: dict[str, TrayStyle] = {
    "black_tray": TrayStyle("#1b1b1c"),
    "round_cell_tray": TrayStyle("#202021", hole="round", corner=1.0, opening=0.9),
    "white_tray": TrayStyle("#dcdcd8", scuff=0.03),
    "grey_tray": TrayStyle("#7b7d7e"),
    "blue_tray": TrayStyle("#2b5f9e"),
    "green_tray": TrayStyle("#41644a"),
    "teal_tray": TrayStyle("#2f6a68"),
    "terracotta_tray": TrayStyle("#8f4a33"),
    "raft": TrayStyle("#dfe0dd", hole="round", corner=1.0, opening=0.34, depth_mm=(2, 10), wall=0.05, rim_mm=0, body_corner_mm=3, scuff=0.04, gloss=0.05),
    "blue_raft": TrayStyle("#6f9cc4", hole="round", corner=1.0, opening=0.36, depth_mm=(2, 10), wall=0.05, rim_mm=0, body_corner_mm=3, scuff=0.04, gloss=0.05),
    "cubes": TrayStyle("#3c382c", hole="cube", opening=0.94, corner=0.05, depth_mm=(0, 1.5), wall=0.0, rim_mm=0, body_corner_mm=1, gloss=0.0),
    "foam_board": TrayStyle("#4a4947", hole="cube", opening=0.97, corner=0.03, depth_mm=(0, 1), wall=0.0, rim_mm=0, body_corner_mm=1, gloss=0.0),
    "styrofoam": TrayStyle("#e6e6e2", opening=0.72, corner=0.3, depth_mm=(2, 8), wall=0.3, rim_mm=0, body_corner_mm=2, scuff=0.04, gloss=0.03),
    "mat": TrayStyle("#202122", hole="open", depth_mm=(4, 18), wall=0.15, rim_mm=6, body_corner_mm=14),
    "white_mat": TrayStyle("#d8d8d4", hole="open", depth_mm=(4, 18), wall=0.15, rim_mm=6, body_corner_mm=14, scuff=0.03),
    "pots": TrayStyle("#2166a8", opening=0.95, corner=0.3, depth_mm=(5, 14), wall=0.12, rim_mm=4, pot_rim_mm=3.0, pot_colour="#26272a"),
    "grey_pots": TrayStyle("#161617", opening=0.93, corner=0.3, depth_mm=(5, 14), wall=0.12, rim_mm=4, pot_rim_mm=3.0, pot_colour="#55585c"),
    "round_pots": TrayStyle("#2a2a2b", hole="round", opening=0.92, corner=1.0, depth_mm=(5, 14), wall=0.15, rim_mm=4, pot_rim_mm=2.5, pot_colour="#9a5334"),
}  # fmt: skip
TRAY_STYLES: tuple[str, ...] = tuple(STYLES)
