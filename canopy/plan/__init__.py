"""Forecasts of cells and orders come in; which cells to cut on which day for which order, and pick lists, go out.

Takes tables and records, never a connection, a file or a clock.
"""

from canopy.plan.cuts import CUT_DTYPES, ORDER_DTYPES, Plan, plan_cuts
from canopy.plan.orders import ORDER_COLUMNS, check_orders
from canopy.plan.supply import Supply, supply_of

__all__ = [
    "CUT_DTYPES",
    "ORDER_COLUMNS",
    "ORDER_DTYPES",
    "Plan",
    "Supply",
    "check_orders",
    "plan_cuts",
    "supply_of",
]
