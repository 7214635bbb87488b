"""Plant or not, and whose leaf: the whole step, one line per part."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from canopy.records import ByHand, Height, Layout
from canopy.segment.by_hand import set_right
from canopy.segment.edges import refine_edges
from canopy.segment.feed import Feed, make_feed
from canopy.segment.network import ask_network
from canopy.segment.opinion import dice, shipped_opinion
from canopy.segment.owners import contact_shares, disputed_shares, spread_owners
from canopy.segment.result import Segmentation
from canopy.segment.split import split_plants
from canopy.segment.tidy import tidy_canopy
from canopy.settings.segment import SegmentSettings
from canopy.tray.rectify import Rectified


def segment_cells(
    rectified: Rectified,
    layout: Layout,
    *,
    stage: str,
    height: Height,
    settings: SegmentSettings,
    by_hand: ByHand | None = None,
) -> Segmentation:
    """Plant share and owner of each pixel of a rectified tray.

    Parameters
    ----------
    rectified : Rectified
        The tray and its margin.
    layout : Layout
        Cells and outline, mm.
    stage : str
        `seedling`, `finish`, `mat`, or empty (then as for seedlings).
    height : Height
        Moves the place where a plant is looked for outwards from below the lens, when known.
    settings : SegmentSettings
    by_hand : ByHand, optional
        What a person has painted or said of cells; it is taken as certain.

    Returns
    -------
    Segmentation
        On the grid of `rectified`.
    """
    feed = make_feed(rectified, stage=stage, settings=settings)
    probability, ways = ask_network(feed, centres_px=_feed_px(layout.centres_mm(), feed, rectified))
    coloured = shipped_opinion().plant_coloured(feed.normalised)
    reach = tray_reach(rectified, layout, feed=feed, settings=settings)
    agreement = dice((probability > 0.5) & reach, coloured & reach)
    tidied = tidy_canopy(probability, reach=reach, feed=feed, plant_coloured=coloured, stage=stage, settings=settings)
    cover, doubt = refine_edges(tidied, feed=feed, rgb=rectified.rgb, settings=settings)
    split = split_plants(tidied, ways, rectified=rectified, layout=layout, height=height, settings=settings)
    owner = spread_owners(split.owner, cover)
    contact = contact_shares(split.owner, cells=layout.cells)
    disputed = disputed_shares(split.owner, split.doubt, cells=layout.cells)
    seen = Segmentation(cover, owner, doubt, contact, disputed, agreement)
    return set_right(seen, rectified, layout, by_hand=by_hand)


def tray_reach(rectified: Rectified, layout: Layout, *, feed: Feed, settings: SegmentSettings) -> NDArray[np.bool_]:
    """Where, on the feed's grid, canopy is looked for: in the outline and a margin for leaves over the rim."""
    margin = settings.overhang_reach * min(layout.pitch_x_mm, layout.pitch_y_mm)
    corners = layout.outline_mm + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * margin
    reach = np.zeros(feed.rgb.shape[:2], dtype=np.uint8)
    cv2.fillConvexPoly(reach, np.rint(_feed_px(corners, feed, rectified)).astype(np.int32), 1)
    return reach.view(bool) & feed.valid


def _feed_px(points_mm: NDArray[np.float64], feed: Feed, rectified: Rectified) -> NDArray[np.float64]:
    """Tray mm → (column, row) pixels of the feed, which covers the same ground as the rectified picture; (n, 2)."""
    scale = np.array(feed.rgb.shape[1::-1]) / rectified.rgb.shape[1::-1]
    return np.asarray((rectified.to_px(points_mm) + 0.5) * scale - 0.5)
