"""Tables and records come in, pictures as SVG text go out, for report and page alike."""

from canopy.pictures.before_after import Shot, before_after
from canopy.pictures.fan import fan_of, growth_fan
from canopy.pictures.over_days import evenness_over_time, readiness_by_day
from canopy.pictures.svg import Chart
from canopy.pictures.tray_map import heat_map
from canopy.pictures.uniformity import uniformity_map

__all__ = [
    "Chart",
    "Shot",
    "before_after",
    "evenness_over_time",
    "fan_of",
    "growth_fan",
    "heat_map",
    "readiness_by_day",
    "uniformity_map",
]
