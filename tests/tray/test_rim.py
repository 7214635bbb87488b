"""How clearly a tray ends where a layout says: a drawn rectangle with a step at its border."""

from __future__ import annotations

import numpy as np

from canopy.tray import layout_from
from canopy.tray.fit import PlaneFit
from canopy.tray.rim import rim_edges

LAYOUT = layout_from("4x6", pitch_mm="50x50", outline_mm="320x220")
FIT = PlaneFit(np.array([[2.0, 0, 60], [0, 2.0, 40], [0, 0, 1]]), 0.0, 1.0, np.zeros(4))  # 2 px a mm


def picture(shrunk_mm=0.0, hidden=False):
    """A light tray on dark ground, smaller than the layout says by a strip on every side; grain over all."""
    rng = np.random.default_rng(2)
    rgb = rng.normal(60, 8, (520, 760, 3))
    cut = round(2 * shrunk_mm)
    rgb[40 + cut : 480 - cut, 60 + cut : 700 - cut] += 80
    if hidden:  # leaves over the upper side
        rgb[20:60, 60:700] = rng.normal(100, 8, (40, 640, 3))
    return np.clip(rgb, 0, 255).astype(np.uint8)


def test_a_tray_that_ends_where_it_should_is_clear_on_every_side():
    assert (rim_edges(picture(), FIT, LAYOUT) > 0.95).all()  # the step is the only edge


def test_a_tray_that_ends_elsewhere_has_no_edge_there():
    # 10 mm, a fifth of a pitch inside: only grain is left, a median of 240 places of 8 levels each.
    assert (rim_edges(picture(10.0), FIT, LAYOUT) < 0.1).all()


def test_a_hidden_side_is_not_clear():
    edges = rim_edges(picture(hidden=True), FIT, LAYOUT)
    assert edges[0] < 0.5
    assert edges[2] > 0.95


def test_a_flat_picture_has_no_edges():
    assert rim_edges(np.full((520, 760, 3), 90, np.uint8), FIT, LAYOUT).tolist() == [0, 0, 0, 0]
