"""A photo and a tray's record in, the mapping between millimetres and pixels and the tray seen from above out."""

from canopy.tray.choose import choose_layout, with_layout
from canopy.tray.frame import Frame
from canopy.tray.layouts import layout_from, named_layouts
from canopy.tray.locate import locate_tray
from canopy.tray.rectify import Rectified, rectify, to_photo_grid
from canopy.tray.views import save_view

__all__ = [
    "Frame",
    "Rectified",
    "choose_layout",
    "layout_from",
    "locate_tray",
    "named_layouts",
    "rectify",
    "save_view",
    "to_photo_grid",
    "with_layout",
]
