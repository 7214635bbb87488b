"""Names, types, units and meaning of every column of `cells.csv` and `trays.csv`; tables and docs read them here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Sized
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from canopy.records.text import TEXT_TYPE

_TEXT, _FLOAT, _WHOLE, _WHOLE_OR_NONE = "string", "float64", "int64", "Int64"


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
    dtype : str
        pandas type: `string` and `Int64` hold pd.NA, `float64` holds NaN where a value is missing.
    unit : str
        Empty for text, counts and names; `1` for fractions and indices.
    description : str
        One sentence.
    """

    name: str
    dtype: str
    unit: str
    description: str


CELL_COLUMNS: tuple[Column, ...] = (
    Column("photo", _TEXT, "", "Path of the photo below the given folder."),
    Column("tray", _TEXT, "", "Tray id."),
    Column("taken_at", _TEXT, "", "Time of exposure, ISO 8601, with offset when known."),
    Column("row", _WHOLE, "", "Row number from 1 (row A)."),
    Column("col", _WHOLE, "", "Column number from 1."),
    Column("cell", _TEXT, "", "Row letter and column number, A1 at the tray's corner 0."),
    Column(
        "state", _TEXT, "", "`planted` or `empty` (no living canopy); missing where the photo does not show the cell."
    ),
    Column("das", _WHOLE_OR_NONE, "d", "Days after sowing on the day of the photo."),
    Column("area_mm2", _FLOAT, "mm²", "Orthographic area seen of the plant, at its own height when heights are known."),
    Column("area_low_mm2", _FLOAT, "mm²", "Low end of the area's 95 % range: outline, doubt, disputes and height."),
    Column("area_high_mm2", _FLOAT, "mm²", "High end of the area's 95 % range."),
    Column("cover", _FLOAT, "1", "Area divided by the cell's pitch area; above 1 when a plant spills over."),
    Column("weight_g", _FLOAT, "g", "Fresh weight estimated from area; missing without weigh-ins."),
    Column("weight_low_g", _FLOAT, "g", "Low end of the weight's range."),
    Column("weight_high_g", _FLOAT, "g", "High end of the weight's range."),
    Column("exg", _FLOAT, "1", "Excess green 2g−r−b, median of plant pixels, on sRGB code values."),
    Column("ngrdi", _FLOAT, "1", "(G−R)/(G+R), median of plant pixels, on sRGB code values."),
    Column("gli", _FLOAT, "1", "(2G−R−B)/(2G+R+B), median of plant pixels, on sRGB code values."),
    Column(
        "dgci", _FLOAT, "1", "Dark green colour index, median of pixels, on sRGB code values; only for hue 60–120°."
    ),
    Column(
        "hue_deg", _FLOAT, "°", "CIELAB hue angle, circular mean of plant pixels: green about 110–150, yellow 85–105."
    ),
    Column(
        "yellow_fraction", _FLOAT, "1", "Share of plant pixels that are yellow by CIELAB hue, chroma and lightness."
    ),
    Column("brown_fraction", _FLOAT, "1", "Share of plant pixels that are brown by CIELAB hue, chroma and lightness."),
    Column("readiness", _FLOAT, "0–100", "Weighted geometric mean of the recipe's desirabilities, times 100."),
    Column("readiness_low", _FLOAT, "0–100", "Low end of readiness over the ranges of area and weight."),
    Column("readiness_high", _FLOAT, "0–100", "High end of readiness over the ranges of area and weight."),
    Column("decision", _TEXT, "", "`harvest`, `transplant`, `wait`, `inspect` or `empty`."),
    Column("limiting", _TEXT, "", "The criterion that holds readiness back most."),
    Column("reason", _TEXT, "", "Why the cell is empty, held back or doubtful, in words."),
    # beyond the contract
    Column("x_mm", _FLOAT, "mm", "Centroid of the plant along row A from the outline's corner 0, undone for height."),
    Column(
        "y_mm", _FLOAT, "mm", "Centroid of the plant down the columns from the outline's corner 0, undone for height."
    ),
    Column("diameter_mm", _FLOAT, "mm", "Greatest width of the plant (maximum Feret diameter), at its own height."),
    Column("compactness", _FLOAT, "1", "4π·area/outline², 1 for a disc, near 0 for a lobed or ragged plant."),
    Column("solidity", _FLOAT, "1", "Area divided by the area of the convex hull."),
    Column("contact", _FLOAT, "1", "Share of the outline that touches a neighbour's canopy."),
    Column(
        "texture", _FLOAT, "L*", "Mean local standard deviation of L* in the plant, on a grid of fixed millimetres."
    ),
    Column("height_mm", _FLOAT, "mm", "Leaf height over the rim used to correct the area; missing when not corrected."),
    Column("area_seen_mm2", _FLOAT, "mm²", "Area as projected onto the rim plane, before the correction for height."),
    Column("area_rel_sd", _FLOAT, "1", "Standard uncertainty of ln(area) behind the range."),
    Column("l_star", _FLOAT, "1", "Mean CIELAB L* of plant pixels, D65 2°."),
    Column("a_star", _FLOAT, "1", "Mean CIELAB a* of plant pixels; negative is green."),
    Column("b_star", _FLOAT, "1", "Mean CIELAB b* of plant pixels; positive is yellow."),
)

TRAY_COLUMNS: tuple[Column, ...] = (
    Column("photo", _TEXT, "", "Path of the photo below the given folder."),
    Column("tray", _TEXT, "", "Tray id."),
    Column("taken_at", _TEXT, "", "Time of exposure, ISO 8601, with offset when known."),
    Column("quality", _TEXT, "", "`good`, `doubtful` or `refused`: whether the photo can be relied on."),
    Column("quality_reason", _TEXT, "", "What is wrong with the photo, in words."),
    Column(
        "located_by",
        _TEXT,
        "",
        "`markers`, `3 markers`, `corners`, `saved view NAME, …`, `whole picture` or `outline`.",
    ),
    Column("mm_per_px", _FLOAT, "mm", "Millimetres per full-size photo pixel at the tray's centre."),
    Column("tilt_deg", _FLOAT, "°", "Angle between the camera axis and the normal of the rim plane."),
    Column("cells", _WHOLE, "", "Cells of the layout."),
    Column("planted", _WHOLE, "", "Cells with a living plant."),
    Column("emergence", _FLOAT, "1", "Planted cells divided by the cells that the photo shows."),
    Column("cover", _FLOAT, "1", "Canopy area divided by the pitch area of the cells that the photo shows."),
    Column("mean_area_mm2", _FLOAT, "mm²", "Mean area of the planted cells."),
    Column(
        "cv_area",
        _FLOAT,
        "1",
        "Standard deviation (n−1) of planted cells' areas over their mean; of area, not of width.",
    ),
    Column("cu", _FLOAT, "%", "Christiansen uniformity of planted cells' areas, 100 = all equal, below 0 possible."),
    Column("du_lq", _FLOAT, "%", "Mean of the lowest quarter (n/4 rounded half up) of areas over the mean of all."),
    Column("gini", _FLOAT, "1", "Gini coefficient (population form) of planted cells' areas, 0 = all equal."),
    Column("moran_i", _FLOAT, "1", "Moran's I of area, side neighbours, empty cells left out with their links."),
    Column("moran_p", _FLOAT, "1", "One-sided permutation p of Moran's I, (1+#)/(1+B)."),
    Column("edge_effect", _FLOAT, "1", "Mean area of rim cells over that of inner cells, minus 1."),
    Column("evenness", _FLOAT, "0–100", "100·emergence·(1−gini): gaps and uneven size in one figure of our own."),
    Column("pattern", _TEXT, "", "Where plants differ, in plain words; never a cause."),
    Column("ready", _WHOLE_OR_NONE, "", "Cells to harvest or transplant now."),
    Column("ready_on", _TEXT, "", "Day on which the tray is expected to be ready, ISO 8601."),
    Column("decision", _TEXT, "", "Decision for the whole tray."),
    # beyond the contract
    Column("robust_cv", _FLOAT, "1", "1.4826·MAD/median of planted cells' areas; ignores a few odd plants."),
    Column("edge_p", _FLOAT, "1", "Two-sided p of the edge effect, Welch's t."),
    Column("geary_c", _FLOAT, "1", "Geary's C of area, side neighbours; 1 = no pattern."),
)

CONTRACT_CELL_COLUMNS = tuple(column.name for column in CELL_COLUMNS[:28])
CONTRACT_TRAY_COLUMNS = tuple(column.name for column in TRAY_COLUMNS[:25])


def as_table(data: Mapping[str, object], *, columns: Sequence[Column], index: pd.Index | None = None) -> pd.DataFrame:
    """Table with exactly these columns in order and their types; what `data` lacks is missing.

    Parameters
    ----------
    data : mapping of column name to values
        Equal-length arrays. Names that are no column raise ValueError, as do whole-number columns left out (except in a
        table of no rows).
    columns : sequence of Column
    index : pandas.Index, optional
        Needed only to give the length when `data` is empty.
    """
    unknown = sorted(set(data) - {column.name for column in columns})
    if unknown:
        raise ValueError(f"table: no column {', '.join(unknown)}; add it to canopy.measure.columns or correct the name")
    length = len(index) if index is not None else _length(data)
    # Bare arrays: a table made of series takes five times as long, to line up their row numbers.
    rows = index if index is not None else pd.RangeIndex(length)
    return pd.DataFrame({column.name: _values(data, column, length) for column in columns}, index=rows)


def _length(data: Mapping[str, object]) -> int:
    """The one length of all values, or 0; counted, because a table built to be counted costs as much as the result."""
    lengths = {name: len(values) for name, values in data.items() if isinstance(values, Sized)}
    if len(set(lengths.values())) > 1:
        raise ValueError(f"table: columns of unequal length, {lengths}; give every column a value for each row")
    return max(lengths.values(), default=0)


def _values(data: Mapping[str, object], column: Column, length: int) -> Any:
    """A column's values as a bare array of its type."""
    if column.dtype == _FLOAT:
        return np.array(data.get(column.name, np.full(length, np.nan)), dtype=np.float64)
    dtype = TEXT_TYPE if column.dtype == _TEXT else column.dtype
    if column.name in data:
        return pd.Series(data[column.name], dtype=dtype).array
    if column.dtype == _WHOLE and length:
        raise ValueError(f"table: column {column.name} must be given; it cannot be missing")
    return pd.Series([pd.NA] * min(length, 1), dtype=dtype).array.repeat(length)
