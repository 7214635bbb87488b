"""Tables of a tray's readings over days come in; growth curves of its plants go out, with what is sure and what not.

Takes tables and records, never a connection, a file or a clock.
"""

from canopy.growth.checks import Complaint
from canopy.growth.clock import PLAIN_DAYS, Clock, thermal_clock
from canopy.growth.curves import CURVE_DTYPES, TrayCurves, growth_curves
from canopy.growth.events import check_events
from canopy.growth.forecast import DAILY_DTYPES, READY_DTYPES, Forecast, forecast_tray
from canopy.growth.history import History, line_up
from canopy.growth.rate import Rate, classical_rate, fitted_rate
from canopy.growth.single import SingleCurve, best_curve, fit_curve
from canopy.growth.touching import Touching, when_touching

__all__ = [
    "CURVE_DTYPES",
    "DAILY_DTYPES",
    "PLAIN_DAYS",
    "READY_DTYPES",
    "Clock",
    "Complaint",
    "Forecast",
    "History",
    "Rate",
    "SingleCurve",
    "Touching",
    "TrayCurves",
    "best_curve",
    "check_events",
    "classical_rate",
    "fit_curve",
    "fitted_rate",
    "forecast_tray",
    "growth_curves",
    "line_up",
    "thermal_clock",
    "when_touching",
]
