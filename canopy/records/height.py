"""How high the leaves stand and how high the lens hangs: what is needed to undo the view from close by."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Height:
    """Heights over the rim plane in mm; None where unknown (then the area's range carries it).

    A horizontal leaf at height h under a lens at height d over the rim looks d/(d−h) times larger than at the rim, in
    both directions and wherever it lies in the picture, because the projection from the lens onto a parallel plane
    is a similarity. The centre of that similarity is the point of the rim plane straight below the lens.

    Attributes
    ----------
    canopy_mm : float or None
        Height of the tops of a typical plant of the tray.
    canopy_source : str
        `typed`, `recipe` or `unknown`.
    canopy_rel_sd : float
        Relative standard uncertainty of `canopy_mm`: 0 when typed, that of the table when a recipe gives it.
    camera_mm : float or None
        Height of the lens over the rim plane.
    camera_source : str
        `typed`, `lens` (focal length from EXIF and scale from the frame) or `unknown`.
    nadir_mm : tuple of float
        (x, y) in tray millimetres of the point straight below the lens.
    tiered : float or None
        How far the plants are stems with leaves in tiers, whose side shows from obliquely above: 0 rosettes and heads,
        about 0.75 basil, 1 a closed wall of leaves; None where no recipe says.
    """

    canopy_mm: float | None
    canopy_source: str
    camera_mm: float | None
    camera_source: str
    nadir_mm: tuple[float, float]
    tiered: float | None = None
    canopy_rel_sd: float = 0.0

    @property
    def known(self) -> bool:
        """True when both heights are known, so that areas can be corrected."""
        return self.canopy_mm is not None and self.camera_mm is not None
