"""A rectified tray comes in; how much of each pixel is plant, and whose plant it is, goes out."""

from canopy.segment.cells import segment_cells
from canopy.segment.result import Segmentation

__all__ = ["Segmentation", "segment_cells"]
