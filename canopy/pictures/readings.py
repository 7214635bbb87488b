"""How values of each column are shown to people: name, unit, digits."""

from __future__ import annotations

import math
from dataclasses import dataclass

from canopy.measure.columns import CELL_COLUMNS, TRAY_COLUMNS
from canopy.words import Words, marked


@dataclass(frozen=True)
class Shown:
    """How the values of one column are shown.

    Attributes
    ----------
    label : str
        In the reader's language.
    unit : str
        Empty where there is none.
    factor : float
        What a value of the table is multiplied by.
    """

    label: str
    unit: str
    factor: float = 1.0

    def text(self, value: float) -> str:
        """A value of the table in this unit, three digits at most; empty for a missing one."""
        return compact(value * self.factor)

    def with_unit(self, value: float) -> str:
        """The same with its unit."""
        return f"{self.text(value)} {self.unit}".strip()

    @property
    def head(self) -> str:
        """Label and unit, as the head of a column or an axis."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


_PERCENT = 100.0
_CM2 = 0.01
# Columns that people are shown often; all others by name and unit of their column.
_SHOWN: dict[str, tuple[str, str, float]] = {
    "area_mm2": (marked("Leaf area"), "cm²", _CM2),
    "area_low_mm2": (marked("Leaf area, low end"), "cm²", _CM2),
    "area_high_mm2": (marked("Leaf area, high end"), "cm²", _CM2),
    "mean_area_mm2": (marked("Mean leaf area"), "cm²", _CM2),
    "cover": (marked("Ground covered"), "%", _PERCENT),
    "weight_g": (marked("Weight"), "g", 1.0),
    "hue_deg": (marked("Hue"), "°", 1.0),
    "dgci": (marked("Greenness (DGCI)"), "", 1.0),
    "yellow_fraction": (marked("Yellow leaf"), "%", _PERCENT),
    "brown_fraction": (marked("Brown leaf"), "%", _PERCENT),
    "readiness": (marked("Readiness"), "0–100", 1.0),
    "diameter_mm": (marked("Width"), "mm", 1.0),
    "height_mm": (marked("Leaf height"), "mm", 1.0),
    "das": (marked("Days after sowing"), "", 1.0),
    "decision": (marked("Decision"), "", 1.0),
    "limiting": (marked("Held back by"), "", 1.0),
    "state": (marked("State"), "", 1.0),
    "evenness": (marked("Evenness"), "0–100", 1.0),
    "emergence": (marked("Living plants"), "%", _PERCENT),
}


def shown(column: str, *, words: Words) -> Shown:
    """How a column of the tables of cells or trays is shown."""
    if column in _SHOWN:
        label, unit, factor = _SHOWN[column]
        return Shown(words.gettext(label), unit, factor)
    units = {known.name: known.unit for known in (*CELL_COLUMNS, *TRAY_COLUMNS)}
    unit = units.get(column, "")
    return Shown(column, "" if unit == "1" else unit)


def compact(value: float) -> str:
    """Whole numbers from 100 up, else three digits: `1234`, `123`, `12.3`, `1.2`, `0.12`; empty for a missing value."""
    if math.isnan(value):
        return ""
    decimals = 0 if abs(value) >= 99.95 else 1 if abs(value) >= 9.995 else 2
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text.replace("-", "−")
