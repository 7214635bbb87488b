"""A rectified tray and its segmentation come in; tables with numbers per cell and per tray go out, in millimetres."""

from canopy.measure.area import measure_cells
from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS, Column, as_table
from canopy.measure.tray import measure_tray

__all__ = ["CELL_COLUMNS", "TRAY_COLUMNS", "Column", "as_table", "measure_cells", "measure_tray"]
