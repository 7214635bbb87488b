"""Orders as they are typed, checked line by line."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
import pandas as pd

from canopy.growth.checks import LINE, Check, Complaint

ORDER_COLUMNS = ("crop", "due", "heads", "grams")
OPTIONAL_COLUMNS = ("order", "min_g", "max_g", "min_mm2", "max_mm2", "value")
"""Name of the order, bounds of one head, what the whole order is worth."""


def check_orders(
    table: pd.DataFrame, *, crops: Iterable[str], today: date
) -> tuple[pd.DataFrame, tuple[Complaint, ...]]:
    """Check orders.

    Parameters
    ----------
    table : pandas.DataFrame
        `crop`, `due`, and one of `heads` and `grams` in each line (the other empty; a column may be absent); optionally
        `order` (a name, else the line's number), `min_g`, `max_g`, `min_mm2`, `max_mm2` (bounds of one head), `value`
        (of the whole order; any currency, for all orders the same).
    crops : iterable of str
        Crops that trays are sown with.
    today : date
        Day of asking; what was due before it is refused.

    Returns
    -------
    orders : pandas.DataFrame
        The good lines, all columns there: `unit` is `heads` or `grams`, `wanted` the number of it; missing bounds and
        values are NaN.
    complaints : tuple of Complaint
    """
    filled = table.assign(**{name: None for name in ("heads", "grams", *OPTIONAL_COLUMNS) if name not in table})
    check = Check(filled, name="orders", columns=ORDER_COLUMNS)
    check.table["crop"] = check.table["crop"].map(_crop)
    check.known("crop", crops, what="crop in the trays")
    check.day("due")
    check.refuse(
        check.table["due"] < pd.Timestamp(today), "due", "{value} is past; correct it or remove the line",
        shown=[str(day)[:10] for day in check.table["due"]],
    )  # fmt: skip
    _one_amount(check)
    for name in OPTIONAL_COLUMNS[1:]:
        _number_or_nothing(check, name)
    for low, high in (("min_g", "max_g"), ("min_mm2", "max_mm2")):
        crossed = check.table[low].to_numpy(float) > check.table[high].to_numpy(float)
        check.refuse(crossed, low, f"{{value}} is above `{high}`; swap them")
    names = [f"line {line}" if _empty(name) else str(name).strip() for name, line in
             zip(check.table["order"], check.lines, strict=True)]  # fmt: skip
    check.table["order"] = names
    check.once(("order",))
    check.table[LINE] = check.lines
    return check.result()


def _crop(value: object) -> object:
    return value if _empty(value) else "_".join(str(value).casefold().replace("-", " ").replace("_", " ").split())


def _one_amount(check: Check) -> None:
    """`wanted` and `unit` from the one of `heads` and `grams` that is given."""
    given = {name: ~check.table[name].map(_empty).to_numpy(dtype=bool) for name in ("heads", "grams")}
    check.refuse(given["heads"] & given["grams"], "heads", "{value} stands beside `grams`; keep one of them")
    check.refuse(~given["heads"] & ~given["grams"], "heads", "neither `heads` nor `grams` is given; give one")
    wanted = np.full(len(check.table), np.nan)
    for name, there in given.items():
        # Only lines that give this amount are held against it.
        filled = check.table[name].where(there, 1)
        check.table[name] = filled
        check.number(name, above=0.0)
        wanted = np.where(there, check.table[name].to_numpy(dtype=float), wanted)
    heads = check.table["heads"].to_numpy(dtype=float)
    check.refuse(given["heads"] & (heads != np.floor(heads)), "heads", "{value} is not a whole number; correct it")
    check.table["wanted"] = wanted
    check.table["unit"] = np.where(given["grams"], "grams", "heads")


def _number_or_nothing(check: Check, name: str) -> None:
    empty = check.table[name].map(_empty).to_numpy(dtype=bool)
    check.table[name] = check.table[name].where(~empty, 1)
    check.number(name, above=0.0)
    check.table[name] = check.table[name].where(~empty, np.nan).astype("float64")


def _empty(value: object) -> bool:
    return value is None or (isinstance(value, str) and not value.strip()) or value is pd.NA or value != value
