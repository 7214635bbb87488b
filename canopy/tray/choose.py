"""Which layout a tray has when none is named: known ones are laid over the picture, and one must fit clearly best."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopy.errors import TrayNotFound
from canopy.photo.image import Photo
from canopy.records import Layout, TrayRecord
from canopy.settings import TraySettings
from canopy.settings.unaided import UnaidedSettings
from canopy.tray.fit import fit_homography
from canopy.tray.frame import picture_centre
from canopy.tray.outline import Outline, named_for, see_outline
from canopy.tray.period import repeats
from canopy.tray.rim import rim_edges
from canopy.tray.sight import Sight, see_trays
from canopy.tray.straight import straighten
from canopy.tray.unaided import Laid, doubt_of, lay_by

FloatArray = NDArray[np.float64]
RgbImage = NDArray[np.uint8]


@dataclass(frozen=True)
class Fitting:
    """A layout laid over the picture.

    Attributes
    ----------
    layout : Layout
    laid : Laid
    likeness : float
        Median correlation of its cells with the typical one, −1..1.
    misfit : float
        How far outline and grid are apart, in pitches, plus what the camera would have to stretch the tray by.
    doubt : str
        What speaks against it; empty when nothing does.
    """

    layout: Layout
    laid: Laid
    likeness: float
    misfit: float
    doubt: str


@dataclass(frozen=True)
class Choice:
    """The layout that fits clearly best.

    Attributes
    ----------
    layout : Layout
    among : int
        Layouts that were tried.
    likeness : float
        See `Fitting`.
    second : str
        The next best one that fits at all; empty when none does.
    second_likeness : float
    """

    layout: Layout
    among: int
    likeness: float
    second: str = ""
    second_likeness: float = 0.0

    @property
    def text(self) -> str:
        """How sure the choice is, for people."""
        text = f"layout {self.layout.name} was chosen among {self.among} (its cells are alike to {self.likeness:.0%}"
        if self.second:
            return f"{text}; next best is {self.second} with {self.second_likeness:.0%})"
        return f"{text}; no other fits)"


def choose_layout(photo: Photo, record: TrayRecord, *, settings: TraySettings) -> Choice:
    """Choose among the layouts that a record allows.

    The outline is seen once. Layouts of its shape are ranked by how well the picture repeats at their pitch and not
    already at a half or a third of it; the best are laid as if they were named. What is left without a doubt must be
    one grid and one size.

    Raises
    ------
    TrayNotFound
        `tray_not_found` when none fits, `which_layout` when two fit about equally well.
    """
    choices = record.layout_choices
    sight = see_trays(photo.rgb)
    laid = _fittings(photo.rgb, sight, choices, settings)
    fitting = [fit for fit in laid if not fit.doubt]
    if not fitting:
        raise TrayNotFound(
            "tray_not_found",
            f"{photo.name}: no layout is named and none of {len(choices)} known ones fits what is seen; "
            "name `layout`, or show the whole tray",
        )
    best, *others = sorted(fitting, key=lambda fit: -fit.likeness)
    near = [best, *(fit for fit in others if fit.likeness > best.likeness - settings.unaided.clearly_alike)]
    # The outline may be seen a rim's width off, so another size of this grid is not ruled out by it.
    near += [fit for fit in laid if fit.doubt and _grid(fit) == _grid(best)]
    best = _clearly_best(photo, near, settings.unaided)
    second = max((fit for fit in fitting if fit is not best), key=lambda fit: fit.likeness, default=None)
    return Choice(
        best.layout,
        len(choices),
        best.likeness,
        second.layout.name if second else "",
        second.likeness if second else 0.0,
    )


def _clearly_best(photo: Photo, near: list[Fitting], sure: UnaidedSettings) -> Fitting:
    """The one that fits best, when that is clear.

    Grids differ by much in how they fit. Sizes of one grid differ in the width of the rim only, and there the edge of
    the tray itself must speak: all along one layout's outline, and nowhere along the other's.
    """
    best, *rivals = sorted(near, key=lambda fit: (bool(fit.doubt), fit.misfit))
    gap = {True: sure.clearly_apart, False: sure.grids_apart}
    close = [rival for rival in rivals if rival.misfit < best.misfit + gap[_grid(rival) == _grid(best)]]
    if not close:
        return best
    if all(_grid(rival) == _grid(best) for rival in close):
        edges = [(fit, rim_edges(photo.rgb, fit.laid.fit, fit.layout)) for fit in (best, *close)]
        ends = [fit for fit, edge in edges if edge.min() >= sure.rim_edge]
        others = [fit for fit, edge in edges if edge.mean() <= sure.no_rim_edge]
        if len(ends) == 1 and len(others) == len(close) and not ends[0].doubt:
            return ends[0]
    raise TrayNotFound(
        "which_layout",
        f"{photo.name}: no layout is named, and {best.layout.name} and {close[0].layout.name} fit equally well; "
        "name one in `layout`",
    )


def _grid(fit: Fitting) -> tuple[int, int]:
    return fit.layout.rows, fit.layout.columns


def _fittings(rgb: RgbImage, sight: Sight, choices: Sequence[Layout], settings: TraySettings) -> list[Fitting]:
    """The likeliest layouts laid over the picture; those with the grid of a likely one are laid, too."""
    sure = settings.unaided
    seen = see_outline(sight, settings=sure)
    if seen is None:
        return []
    ranked = sorted(
        (
            (_repeats_at(rgb, sight, outline, layout, settings), number, outline)
            for number, layout in enumerate(choices)
            if layout.kind != "mat"
            for outline in named_for(layout, seen, settings=sure)
        ),
        key=lambda entry: (-entry[0], entry[1]),
    )
    grids = [(choices[number].rows, choices[number].columns) for _, number, _ in ranked]
    near = [grid for (rank, _, _), grid in zip(ranked, grids, strict=True) if rank > ranked[0][0] - sure.rank_gap]
    likely = set(list(dict.fromkeys(near))[: sure.most_grids])
    best: dict[int, Fitting] = {}
    for (_, number, outline), grid in zip(ranked, grids, strict=True):
        if grid in likely:
            fit = _fitting(rgb, sight, outline, choices[number], settings)
            if number not in best or fit.laid.grid.firmness > best[number].laid.grid.firmness:
                best[number] = fit
    return list(best.values())


def _repeats_at(rgb: RgbImage, sight: Sight, outline: Outline, layout: Layout, settings: TraySettings) -> float:
    """How much better the picture repeats at a layout's pitches than at halves and thirds, in the worse direction."""
    first = fit_homography(layout.outline_mm, sight.to_photo(outline.corners))
    coarse = settings.unaided.model_copy(update={"px_per_pitch": settings.unaided.rank_px_per_pitch})
    straight = straighten(rgb, first / first[2, 2], layout, settings=coarse)
    return min(whole - max(part, 0.0) for whole, part in repeats(straight, layout, within=coarse.choose_within))


def _fitting(rgb: RgbImage, sight: Sight, outline: Outline, layout: Layout, settings: TraySettings) -> Fitting:
    laid = lay_by(rgb, sight, outline, layout, settings=settings)
    doubt = doubt_of(laid, layout, width_px=rgb.shape[1], height_px=rgb.shape[0], settings=settings)
    if not doubt:
        straight = straighten(rgb, laid.fit.px_from_mm, layout, settings=settings.unaided)
        sure = settings.unaided
        found = repeats(straight, layout, within=sure.choose_within)
        if any(part > max(sure.finer_share * whole, sure.finer_from) for whole, part in found):
            doubt = "the picture repeats at a part of its pitch"
    misfit = math.inf
    if np.isfinite(laid.offsets).all():
        apart = float(np.abs(laid.shift).max() + np.abs(laid.excess).max() / 2)
        misfit = apart + settings.unaided.stretch_weight * _stretch(laid.fit.px_from_mm, rgb, settings)
    return Fitting(layout, laid, float(np.median(laid.grid.likeness)), misfit, doubt)


def _stretch(px_from_mm: FloatArray, rgb: RgbImage, settings: TraySettings) -> float:
    """How far a mapping is from that of any camera: logarithm of its scales along rows over along columns.

    After the focal length is taken out, both columns of a plane's homography have one length (Zhang 2000).
    """
    height, width = rgb.shape[:2]
    focal = settings.assumed_focal * max(height, width)
    cx, cy = picture_centre(width, height)
    along = np.array([[1 / focal, 0, -cx / focal], [0, 1 / focal, -cy / focal], [0, 0, 1.0]]) @ px_from_mm[:, :2]
    lengths = np.linalg.norm(along, axis=0)
    return abs(math.log(lengths[0] / lengths[1]))


def with_layout(record: TrayRecord, layout: Layout) -> TrayRecord:
    """The record with its layout named."""
    return record.model_copy(update={"layout": layout, "layout_choices": ()})
