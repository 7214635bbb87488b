"""Axes of line charts: round numbers along both, thin lines to read values by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from canopy.pictures.palette import BLACK
from canopy.pictures.readings import compact
from canopy.pictures.svg import MARGIN_PX, RULE, TITLE_PX, Element, line, write

WIDTH_PX, HEIGHT_PX = 640.0, 360.0
_DATE_SHARE = 0.21  # of the x axis that the text of a date takes
_LEFT_PX, _RIGHT_PX, _TOP_PX, _BOTTOM_PX = 56.0, 120.0, 52.0, 50.0


@dataclass(frozen=True)
class Axes:
    """Maps values to pixels of a chart of fixed size.

    Attributes
    ----------
    x, y : (low, high)
        Values at the ends of the axes; high is above low.
    """

    x: tuple[float, float]
    y: tuple[float, float]

    @property
    def right(self) -> float:
        """Right end of the x axis, pixels."""
        return WIDTH_PX - _RIGHT_PX

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Pixels of a point."""
        across = (x - self.x[0]) / (self.x[1] - self.x[0])
        up = (y - self.y[0]) / (self.y[1] - self.y[0])
        bottom = HEIGHT_PX - _BOTTOM_PX
        return (_LEFT_PX + across * (self.right - _LEFT_PX), bottom - up * (bottom - _TOP_PX))

    def draw(self, root: Element, *, x_head: str, y_head: str, x_ticks: dict[float, str] | None = None) -> None:
        """Both axes with numbers and heads; `x_ticks` are places along x with their own texts."""
        for value in ticks(*self.y):
            ends = [self.at(self.x[0], value), self.at(self.x[1], value)]
            line(root, ends, ink=RULE, width=1)
            write(root, compact(value), x=ends[0][0] - 6, y=ends[0][1] + 5, anchor="end")
        for value, text in (x_ticks or {value: compact(value) for value in ticks(*self.x)}).items():
            x, y = self.at(value, self.y[0])
            line(root, [(x, y), (x, y + 5)], ink=BLACK, width=1)
            write(root, text, x=x, y=y + 20, anchor="middle")
        corner = self.at(self.x[0], self.y[0])
        line(root, [self.at(self.x[0], self.y[1]), corner, self.at(self.x[1], self.y[0])], ink=BLACK, width=1)
        write(root, x_head, x=self.right, y=HEIGHT_PX - 10, anchor="end")
        write(root, y_head, x=MARGIN_PX, y=MARGIN_PX + TITLE_PX + 17, size=13)


def ticks(low: float, high: float, *, most: int = 6) -> list[float]:
    """Round numbers within a range: multiples of 1, 2 or 5 times a power of ten, at most `most`."""
    step = 10.0 ** math.floor(math.log10((high - low) / most))
    while math.floor(high / step + 1e-9) - math.ceil(low / step - 1e-9) + 1 > most:
        # 1 → 2 → 5 → 10
        step *= 2.5 if round(step / 10.0 ** math.floor(math.log10(step) + 1e-9)) == 2 else 2.0
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def day_ticks(days: list[date]) -> dict[float, str]:
    """Days as places (ordinals) with their dates, as many as stand clear of each other; the last one is among them."""
    distinct = sorted(set(days))
    apart = _DATE_SHARE * (distinct[-1] - distinct[0]).days
    kept: list[date] = []
    for day in reversed(distinct):
        if not kept or (kept[-1] - day).days >= apart:
            kept.append(day)
    return {float(day.toordinal()): day.isoformat() for day in reversed(kept)}
