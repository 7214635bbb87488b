"""What trays look like: colour, holes, rims. Sizes are common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass, replace


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
    net : bool
        A slotted net pot sits in each hole.
    holes_mm : float
        Diameter of small holes where four cells meet; 0 for none.
    dimple : bool
        Each block has a planting hole.
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
    net: bool = False
    holes_mm: float = 0.0
    dimple: bool = False
    scuff: float = 0.06
    gloss: float = 0.25


_RAFT = TrayStyle(
    "#dfe0dd", hole="round", corner=1.0, opening=0.36, depth_mm=(2, 10), wall=0.05, rim_mm=0, body_corner_mm=3,
    net=True, scuff=0.04, gloss=0.05,
)  # fmt: skip
_BLOCKS = TrayStyle(
    "#3c382c", hole="cube", opening=0.95, corner=0.05, depth_mm=(0, 1.5), wall=0.0, rim_mm=0, body_corner_mm=1,
    dimple=True, gloss=0.0,
)  # fmt: skip
_POTS = TrayStyle(
    "#2166a8", opening=0.9, corner=0.3, depth_mm=(5, 14), wall=0.12, rim_mm=4, pot_rim_mm=3.0, pot_colour="#26272a",
    holes_mm=4,
)  # fmt: skip
_MAT = TrayStyle("#202122", hole="open", depth_mm=(4, 18), wall=0.15, rim_mm=6, body_corner_mm=14)
_CELLS = TrayStyle("#1b1b1c")

STYLES: dict[str, TrayStyle] = {
    "black_tray": _CELLS,
    "white_tray": replace(_CELLS, colour="#dcdcd8", scuff=0.03),
    "grey_tray": replace(_CELLS, colour="#7b7d7e"),
    "blue_tray": replace(_CELLS, colour="#2b5f9e", holes_mm=4),
    "green_tray": replace(_CELLS, colour="#41644a"),
    "teal_tray": replace(_CELLS, colour="#2f6a68"),
    "terracotta_tray": replace(_CELLS, colour="#8f4a33"),
    "round_cell_tray": replace(_CELLS, colour="#202021", hole="round", corner=1.0, opening=0.9, holes_mm=5),
    "tight_tray": replace(_CELLS, colour="#161617", opening=0.96, corner=0.15, depth_mm=(1, 6), rim_mm=3),
    "styrofoam": TrayStyle(
        "#e6e6e2",
        opening=0.72,
        corner=0.3,
        depth_mm=(2, 8),
        wall=0.3,
        rim_mm=0,
        body_corner_mm=2,
        scuff=0.04,
        gloss=0.03,
    ),
    "raft": _RAFT,
    "blue_raft": replace(_RAFT, colour="#6f9cc4"),
    "black_raft": replace(_RAFT, colour="#222325", net=False, opening=0.3),
    "cubes": _BLOCKS,
    "foam_board": replace(_BLOCKS, colour="#4a4947", opening=0.975, corner=0.03, depth_mm=(0, 1)),
    "mat": _MAT,
    "white_mat": replace(_MAT, colour="#d8d8d4", scuff=0.03),
    "pots": _POTS,
    "grey_pots": replace(_POTS, colour="#161617", pot_colour="#6a6d71"),
    "round_pots": replace(
        _POTS,
        colour="#2a2a2b",
        hole="round",
        opening=0.92,
        corner=1.0,
        pot_rim_mm=2.5,
        pot_colour="#9a5334",
        holes_mm=0,
    ),
    "white_pots": replace(_POTS, colour="#8d9093", pot_colour="#dddcd8", holes_mm=0),
}
TRAY_STYLES: tuple[str, ...] = tuple(STYLES)
