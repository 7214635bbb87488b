"""At which scale a sheet was printed: printed squares tell the size in print of a card whose true size is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo import Photo
from canopy.records import TrayRecord
from canopy.settings import Settings
from canopy.settings.sheet import SheetSettings
from canopy.sheet.plan import (
    FIELD_REACH_MM,
    PAPERS,
    REAL_CARD_MM,
    REAL_CARD_THICK_MM,
    SQUARE_MM,
    Plan,
    plan_for,
)
from canopy.tray import Frame
from canopy.tray.locate import locate_tray

FloatArray = NDArray[np.float64]

# Lines of a side that are averaged, in squares: two squares are one period, so uniform things average to nothing.
_BLOCK_SQUARES = 4
_ALONG_SHARE = 0.84
"""Part of a side that is looked at, in its middle: corners of cards are round."""


@dataclass(frozen=True)
class PrintCheck:
    """What a photo says of a print.

    Attributes
    ----------
    paper : str
    across, down : float
        Printed length over the length meant, 1 when printed at 100 %; NaN where no card was seen on the field.
    good : bool
        Both are within the tolerance.
    """

    paper: str
    across: float
    down: float
    good: bool

    @property
    def words(self) -> str:
        """One line: the scale, and how to mend it."""
        if math.isnan(self.across) or math.isnan(self.down):
            return (
                "no card is seen on the chequered field; lay one there so that squares show on all its sides, and take "
                "the photo again"
            )
        scale = f"printed at {100 * self.across:.1f} % across and {100 * self.down:.1f} % down ({self.paper})"
        return f"{scale}; good" if self.good else f"{scale}; print it again at 100 %, without “fit to page”"


def check_print(photo: Photo, *, settings: Settings) -> PrintCheck:
    """The scale at which a sheet was printed, from a photo of it with a card of size ID-1 (ISO/IEC 7810) on its field.

    Parameters
    ----------
    photo : Photo
        The whole sheet from above, its four corner markers seen, before it is cut.
    settings : Settings

    Raises
    ------
    TrayNotFound
        The sheet's markers are not found, or do not lie as on any sheet.
    """
    plan, frame = _find_sheet(photo, settings)
    field = _field_as_printed(photo.rgb, frame, plan, settings.sheet)
    across = _side_to_side_mm(field, settings.sheet)
    down = _side_to_side_mm(field.T, settings.sheet)
    # The card's face lies nearer to the lens by its thickness, which makes it look larger.
    nearer = 1 - REAL_CARD_THICK_MM / frame.camera_mm[2] if frame.camera_mm is not None else 1.0
    scales = [real / (seen * nearer) for real, seen in zip(REAL_CARD_MM, (across, down), strict=True)]
    good = all(abs(scale - 1) <= settings.sheet.scale_tolerance for scale in scales)
    return PrintCheck(plan.paper, scales[0], scales[1], good)


def _find_sheet(photo: Photo, settings: Settings) -> tuple[Plan, Frame]:
    """The paper whose sheet fits best, and where it lies."""
    found: list[tuple[Plan, Frame]] = []
    problem: TrayNotFound | None = None
    for paper in PAPERS:
        plan = plan_for(paper)
        record = TrayRecord(tray=paper, layout=plan.layout, has_markers=True)
        try:
            found.append((plan, locate_tray(photo, record, settings=settings.tray)))
        except TrayNotFound as error:
            problem = error
    if not found:
        assert problem is not None
        raise problem
    return min(found, key=lambda entry: entry[1].residual_px)


def _field_as_printed(rgb: NDArray[np.uint8], frame: Frame, plan: Plan, settings: SheetSettings) -> FloatArray:
    """The field seen from straight above, grey 0..1, `check_px_per_mm` pixels per printed millimetre.

    Its squares start at its upper left corner with a black one.
    """
    step = settings.check_px_per_mm
    left, top = plan.on_tray((plan.real_card_mm[0] - FIELD_REACH_MM, plan.real_card_mm[1] - FIELD_REACH_MM))
    width, height = (round((side + 2 * FIELD_REACH_MM) * step) for side in REAL_CARD_MM)
    x, y = np.meshgrid((np.arange(width) + 0.5) / step + left, (np.arange(height) + 0.5) / step + top)
    places = frame.to_px(np.column_stack([x.ravel(), y.ravel()])).astype(np.float32).reshape(height, width, 2)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    seen = cv2.remap(grey, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float64) / 255


def _side_to_side_mm(field: FloatArray, settings: SheetSettings) -> float:
    """Printed millimetres between the left and the right edge of what lies on the field; NaN when it is not seen."""
    step = settings.check_px_per_mm
    squares = _likeness(field, step=step)
    left = _edge_mm(squares, settings)
    right = _edge_mm(squares[:, ::-1], settings)
    if left is None or right is None:
        return math.nan
    width_mm = field.shape[1] / step - left[0] - right[0]
    # A card laid aslant is cut aslant: its sides lean alike, against each other as seen from both ends.
    return float(width_mm * math.cos(math.atan((left[1] - right[1]) / 2)))


def _likeness(field: FloatArray, *, step: float) -> FloatArray:
    """How strongly the printed squares show at each place: half their contrast where they are seen, 0 where not."""
    height, width = field.shape
    row, column = (np.floor((np.arange(n) + 0.5) / step / SQUARE_MM).astype(int) for n in (height, width))
    signs = np.where((row[:, None] + column[None, :]) % 2 == 0, -1.0, 1.0)  # the first square is black
    return signs * field


def _edge_mm(squares: FloatArray, settings: SheetSettings) -> tuple[float, float] | None:
    """The edge nearest the left end, (place in mm at mid height, lean in mm per mm); None when it is not seen."""
    step = settings.check_px_per_mm
    height = squares.shape[0]
    margin = FIELD_REACH_MM + (height / step - 2 * FIELD_REACH_MM) * (1 - _ALONG_SHARE) / 2
    block = _BLOCK_SQUARES * SQUARE_MM
    starts = np.arange(margin, height / step - margin - block + 1e-9, SQUARE_MM)
    near = squares[:, : round(2 * FIELD_REACH_MM * step)]
    places = [_edge_in(near[round(s * step) : round((s + block) * step)].mean(axis=0), settings) for s in starts]
    middles = starts + block / 2 - height / step / 2
    seen = ~np.isnan(places)
    if seen.mean() < settings.seen_share_min:
        return None
    return _line(middles[seen], np.asarray(places)[seen])


def _edge_in(profile: FloatArray, settings: SheetSettings) -> float:
    """Where, in mm from the left, the squares stop being seen; NaN when that is not clear."""
    period = round(2 * SQUARE_MM * settings.check_px_per_mm)
    sums = np.concatenate([[0.0], np.cumsum(profile)])
    means = (sums[period:] - sums[:-period]) / period  # of one period that starts at each pixel
    full = float(means[: period // 2].mean())
    if full < settings.contrast_min / 2:
        return math.nan
    below = np.flatnonzero(means < full / 2)
    if not below.size or below[0] == 0 or means[below[0] : below[0] + period].mean() > full / 4 + full / 8:
        return math.nan
    at = below[0]
    part = (means[at - 1] - full / 2) / (means[at - 1] - means[at])
    # Half of that period is squares: the edge lies in its middle.
    return float((at - 1 + part + period / 2) / settings.check_px_per_mm)


def _line(along: FloatArray, places: FloatArray) -> tuple[float, float]:
    """Place at 0 and slope of a line through points, by medians (Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379)."""
    first, second = np.triu_indices(len(along), 1)
    slope = float(np.median((places[second] - places[first]) / (along[second] - along[first]))) if len(first) else 0.0
    return float(np.median(places - slope * along)), slope
