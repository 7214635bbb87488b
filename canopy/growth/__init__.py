"""Tables of a tray's readings over days come in; curves, forecasts, weights and early alerts go out, with their doubt.

Takes tables and records, never a connection, a file or a clock.
"""

from canopy.growth.alerts import ALERT_DTYPES, Watch, watch
from canopy.growth.beside import Departures, departures
from canopy.growth.checks import Complaint
from canopy.growth.clock import PLAIN_DAYS, Clock, thermal_clock
from canopy.growth.curves import CURVE_DTYPES, TrayCurves, growth_curves
from canopy.growth.daily import DAILY_DTYPES, Course
from canopy.growth.events import check_events
from canopy.growth.forecast import READY_DTYPES, Forecast, forecast_tray
from canopy.growth.history import History, line_up
from canopy.growth.rate import Rate, classical_rate, fitted_rate
from canopy.growth.single import SingleCurve, best_curve, fit_curve
from canopy.growth.touching import Touching, when_touching
from canopy.growth.weigh_ins import Weighed, check_weigh_ins, match_weigh_ins
from canopy.growth.weight import WEIGHT_DTYPES, WeightModel, estimate_total, estimate_weights, learn_weight

__all__ = [
    "ALERT_DTYPES",
    "CURVE_DTYPES",
    "DAILY_DTYPES",
    "PLAIN_DAYS",
    "READY_DTYPES",
    "WEIGHT_DTYPES",
    "Clock",
    "Complaint",
    "Course",
    "Departures",
    "Forecast",
    "History",
    "Rate",
    "SingleCurve",
    "Touching",
    "TrayCurves",
    "Watch",
    "Weighed",
    "WeightModel",
    "best_curve",
    "check_events",
    "check_weigh_ins",
    "classical_rate",
    "departures",
    "estimate_total",
    "estimate_weights",
    "fit_curve",
    "fitted_rate",
    "forecast_tray",
    "growth_curves",
    "learn_weight",
    "line_up",
    "match_weigh_ins",
    "thermal_clock",
    "watch",
    "when_touching",
]
