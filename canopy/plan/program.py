"""The plan as an integer programme, solved by HiGHS (Huangfu & Hall 2018, Math. Program. Comput. 10:119)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array

from canopy.plan.groups import Groups
from canopy.settings.plan import PlanSettings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Wanted:
    """Orders (o) in numbers.

    Attributes
    ----------
    amount : (o,) float array
        Heads or grams.
    in_grams : (o,) bool array
    worth : (o,) float array
        Value of a head, or of a gram.
    due : (o,) int array
        Number of the day on which it is due, 0 the first.
    plant_worth : float
        Value of a plant where no order says it.
    """

    amount: FloatArray
    in_grams: NDArray[np.bool_]
    worth: FloatArray
    due: IntArray
    plant_worth: float


@dataclass(frozen=True)
class Solved:
    """What to cut.

    Attributes
    ----------
    group, day, order : (k,) int array
    count : (k,) int array
        Cells of the group cut on the day for the order; order −1: cut with its tray, for nobody.
    value : float
        Value of the orders met and of the plants left, less what shortage, leftovers and age cost.
    gap : float
        Worth by which a better plan may exist, as a share of that of all orders and plants.
    """

    group: IntArray
    day: IntArray
    order: IntArray
    count: IntArray
    value: float
    gap: float


def solve(groups: Groups, wanted: Wanted, *, settings: PlanSettings) -> Solved:
    """Choose cuts of the greatest value.

    Parameters
    ----------
    groups : Groups
    wanted : Wanted
    settings : PlanSettings

    Returns
    -------
    Solved
    """
    part = _Parts.of(groups, wanted, settings=settings)
    programme = _programme(part, groups, wanted, settings=settings)
    x, gap = _best(programme, part, settings=settings)
    if x is None:
        none = np.zeros(0, dtype=np.int64)
        return Solved(none, none, none, none, 0.0, float("inf"))
    count = np.rint(x[: part.open0]).astype(np.int64)
    left = np.rint(x[part.left0 : part.short0]).astype(np.int64)
    cut, spare = np.flatnonzero(count), np.flatnonzero(left)
    return Solved(
        np.concatenate([part.group[cut], part.left_group[spare]]),
        np.concatenate([part.day[cut], part.left_day[spare]]),
        np.concatenate([part.order[cut], np.full(len(spare), -1)]),
        np.concatenate([count[cut], left[spare]]),
        -float(programme.cost @ x),
        gap,
    )


@dataclass(frozen=True)
class _Programme:
    """Minimise cost · x under low ≤ matrix · x ≤ high, least ≤ x ≤ most, whole numbers where `whole`."""

    cost: FloatArray
    matrix: csr_array
    low: FloatArray
    high: FloatArray
    least: FloatArray
    most: FloatArray
    whole: BoolArray

    def run(
        self, *, gap: float, time_s: float, whole: BoolArray, least: FloatArray | None = None,
        most: FloatArray | None = None,
    ) -> tuple[FloatArray | None, float, float]:  # fmt: skip
        """Best x found (None: none in time), its cost, and a bound below which no cost lies."""
        bounds = Bounds(self.least if least is None else least, self.most if most is None else most)
        found = milp(
            self.cost, integrality=whole.astype(float), bounds=bounds,
            constraints=LinearConstraint(self.matrix, self.low, self.high),
            options={"mip_rel_gap": gap, "time_limit": time_s},
        )  # fmt: skip
        if found.x is None:
            return None, np.inf, -np.inf
        bound = found.fun if found.mip_dual_bound is None or not whole.any() else found.mip_dual_bound
        return np.asarray(found.x), float(found.fun), float(bound)


def _programme(part: _Parts, groups: Groups, wanted: Wanted, *, settings: PlanSettings) -> _Programme:
    cost, most, whole = part.columns(groups, wanted, settings=settings)
    rows = _Rows(len(cost))
    _supply_rows(rows, part, groups, settings=settings)
    _order_rows(rows, part, groups, wanted)
    _labour_rows(rows, part, settings=settings)
    least = np.where(np.arange(len(cost)) == part.constant, 1.0, 0.0)
    return _Programme(cost, *rows.done(), least, most, whole)


def _best(programme: _Programme, part: _Parts, *, settings: PlanSettings) -> tuple[FloatArray | None, float]:
    """All numbers whole at once where that is quick, else in parts; the better of both, and its gap."""
    tries = []
    if len(programme.cost) <= settings.exact_columns:
        share_s = settings.time_limit_s / _SHARE
        tries.append(programme.run(gap=settings.gap, time_s=share_s, whole=programme.whole))
    if not tries or _gap(tries[0][1], tries[0][2], programme) > settings.gap:
        tries.append(_in_parts(programme, part, settings=settings))
    x, cost, _ = min(tries, key=lambda found: found[1])
    return x, _gap(cost, max(bound for _, _, bound in tries), programme)


def _in_parts(programme: _Programme, part: _Parts, *, settings: PlanSettings) -> tuple[FloatArray | None, float, float]:
    """First with parts of cells and trays allowed, then trays made whole, then cells; the first cost bounds the rest.

    Few trays and cells come out in parts, so that making them whole costs little; how much is said by the gap.
    """
    free = np.zeros(len(programme.cost), dtype=bool)
    x, _, bound = programme.run(gap=settings.gap, time_s=settings.time_limit_s, whole=free)
    if x is None:
        return None, np.inf, -np.inf
    opened = np.arange(part.open0, part.left0)
    least, most = programme.least.copy(), programme.most.copy()
    settled = opened[np.abs(x[opened] - np.rint(x[opened])) < _WHOLE]
    least[settled] = most[settled] = np.rint(x[settled])
    trays = free.copy()
    trays[opened] = True
    rest = {"gap": settings.gap / 2, "time_s": settings.time_limit_s / _SHARE}
    x, _, _ = programme.run(**rest, whole=trays, least=least, most=most)
    if x is None:
        return None, np.inf, -np.inf
    least, most = programme.least.copy(), programme.most.copy()
    near = programme.whole & (np.abs(x - np.rint(x)) < _WHOLE)
    least[near] = most[near] = np.rint(x[near])
    parted = np.flatnonzero(programme.whole & ~near)
    least[parted], most[parted] = np.floor(x[parted]), np.ceil(x[parted])
    spare = np.arange(part.left0, part.short0)
    least[spare], most[spare] = programme.least[spare], programme.most[spare]
    x, cost, _ = programme.run(**rest, whole=programme.whole, least=least, most=most)
    return x, cost, bound


_WHOLE = 1e-6
_SHARE = 4
"""Trying all at once, and the two later steps of the other way, get a quarter of the time each."""


def _gap(cost: float, bound: float, programme: _Programme) -> float:
    """As a share of all that could be earned: the value itself may be next to nothing where orders fall far short."""
    return max(cost - bound, 0.0) / max(-float(programme.cost[-1]), 1e-12)


@dataclass(frozen=True)
class _Parts:
    """Columns of the programme: cuts, then trays opened, leftovers, shortage and excess of each order, the constant."""

    group: IntArray
    day: IntArray
    order: IntArray
    open_tray: IntArray
    open_day: IntArray
    left_group: IntArray
    left_day: IntArray
    orders: int

    @classmethod
    def of(cls, groups: Groups, wanted: Wanted, *, settings: PlanSettings) -> _Parts:
        group, day, order = np.nonzero(groups.may)
        opened = np.unique(np.column_stack([groups.tray[group], day]), axis=0).astype(np.int64).reshape(-1, 2)
        left = np.zeros((0, 2), dtype=np.int64)
        if settings.whole_tray:
            pairs = [(g, d) for t, d in opened for g in np.flatnonzero(groups.tray == t)]
            left = np.array(pairs, dtype=np.int64).reshape(-1, 2)
        return cls(group, day, order, opened[:, 0], opened[:, 1], left[:, 0], left[:, 1], len(wanted.amount))

    @property
    def open0(self) -> int:
        return len(self.group)

    @property
    def left0(self) -> int:
        return self.open0 + len(self.open_tray)

    @property
    def short0(self) -> int:
        return self.left0 + len(self.left_group)

    @property
    def excess0(self) -> int:
        return self.short0 + self.orders

    @property
    def constant(self) -> int:
        return self.excess0 + self.orders

    def columns(
        self, groups: Groups, wanted: Wanted, *, settings: PlanSettings
    ) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Cost, upper bound and integrality of each column."""
        one = wanted.plant_worth
        alone = settings.later * groups.later * one
        early = settings.fresh * one * (wanted.due[self.order] - self.day)
        # Of equal orders that cannot all be met, the first to be due is.
        soon = settings.fresh * wanted.worth * (wanted.due.max(initial=0) - wanted.due)
        cost = np.concatenate([
            alone[self.group] + early,
            np.full(len(self.open_tray), settings.fresh * one),
            alone[self.left_group] + settings.leftover_weight * one,
            (1.0 + settings.short_weight) * wanted.worth + soon,
            settings.leftover_weight * wanted.worth,
            [-float(wanted.amount @ wanted.worth) - float(groups.size @ alone)],
        ])  # fmt: skip
        size = groups.size.astype(np.float64)
        upper = np.concatenate([
            size[self.group], np.ones(len(self.open_tray)), size[self.left_group], wanted.amount,
            np.where(wanted.in_grams, np.inf, 0.0), [1.0],
        ])  # fmt: skip
        whole = np.arange(len(cost)) < self.short0
        return cost, upper, whole


class _Rows:
    """Rows of the programme, gathered entry by entry."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self.count = 0
        self._row: list[IntArray] = []
        self._column: list[IntArray] = []
        self._value: list[FloatArray] = []
        self._low: list[FloatArray] = []
        self._high: list[FloatArray] = []

    def add(self, low: FloatArray, high: FloatArray, *entries: tuple[IntArray, IntArray, FloatArray]) -> None:
        """Rows of these bounds; entries are (row among them, column, value)."""
        for row, column, value in entries:
            self._row.append(row + self.count)
            self._column.append(column)
            self._value.append(value)
        self._low.append(low)
        self._high.append(high)
        self.count += len(low)

    def done(self) -> tuple[csr_array, FloatArray, FloatArray]:
        at = (np.concatenate(self._row), np.concatenate(self._column))
        matrix = coo_array((np.concatenate(self._value), at), shape=(self.count, self.columns))
        return matrix.tocsr(), np.concatenate(self._low), np.concatenate(self._high)


def _supply_rows(rows: _Rows, part: _Parts, groups: Groups, *, settings: PlanSettings) -> None:
    """No more cells than a group has; none of a tray that is not opened; a whole tray once and whole."""
    cuts = np.arange(len(part.group))
    ones = np.ones(len(cuts))
    never = np.full(len(groups.size), -np.inf)
    opened = {(int(t), int(d)): k for k, (t, d) in enumerate(zip(part.open_tray, part.open_day, strict=True))}
    which = np.array([opened[t, d] for t, d in zip(groups.tray[part.group].tolist(), part.day.tolist(), strict=True)],
                     dtype=np.int64)  # fmt: skip
    if not settings.whole_tray:
        rows.add(never, groups.size.astype(np.float64), (part.group, cuts, ones))
        # One row for each group and day: a row for the whole tray would let a hundredth of an opening pass for one.
        pairs, row_of = np.unique(np.column_stack([part.group, which]), axis=0, return_inverse=True)
        many = np.arange(len(pairs))
        sizes = groups.size[pairs[:, 0]].astype(np.float64)
        rows.add(np.full(len(pairs), -np.inf), np.zeros(len(pairs)),
                 (row_of.reshape(-1), cuts, ones), (many, part.open0 + pairs[:, 1], -sizes))  # fmt: skip
        return
    place = {(int(g), int(d)): k for k, (g, d) in enumerate(zip(part.left_group, part.left_day, strict=True))}
    row_of = np.array(
        [place[g, d] for g, d in zip(part.group.tolist(), part.day.tolist(), strict=True)], dtype=np.int64
    )
    many = np.arange(len(place))
    tray_of = np.array([opened[t, d] for t, d in zip(groups.tray[part.left_group].tolist(), part.left_day.tolist(),
                                                     strict=True)], dtype=np.int64)  # fmt: skip
    sizes = groups.size[part.left_group].astype(np.float64)
    rows.add(np.zeros(len(place)), np.zeros(len(place)), (row_of, cuts, ones),
             (many, part.left0 + many, np.ones(len(place))), (many, part.open0 + tray_of, -sizes))  # fmt: skip
    trays, once = np.unique(part.open_tray, return_inverse=True)
    columns = part.open0 + np.arange(len(part.open_tray))
    rows.add(np.full(len(trays), -np.inf), np.ones(len(trays)), (once, columns, np.ones(len(columns))))


def _order_rows(rows: _Rows, part: _Parts, groups: Groups, wanted: Wanted) -> None:
    """What is cut for an order, plus what it lacks, less what it has too much, is what was ordered."""
    cuts, number = np.arange(len(part.group)), np.arange(part.orders)
    amount = np.where(wanted.in_grams[part.order], np.nan_to_num(groups.grams[part.group, part.day]), 1.0)
    one = np.ones(part.orders)
    rows.add(wanted.amount, wanted.amount, (part.order, cuts, amount),
             (number, part.short0 + number, one), (number, part.excess0 + number, -one))  # fmt: skip


def _labour_rows(rows: _Rows, part: _Parts, *, settings: PlanSettings) -> None:
    """Hours and trays of each day."""
    days = int(part.open_day.max()) + 1 if len(part.open_day) else 0
    cuts, opens = np.arange(len(part.group)), part.open0 + np.arange(len(part.open_tray))
    spare = part.left0 + np.arange(len(part.left_group))
    hour, tray_hours = 1.0 / settings.cells_per_hour, settings.minutes_per_tray / 60.0
    never = np.full(days, -np.inf)
    rows.add(never, np.full(days, settings.hours_per_day), (part.day, cuts, np.full(len(cuts), hour)),
             (part.open_day, opens, np.full(len(opens), tray_hours)),
             (part.left_day, spare, np.full(len(spare), hour)))  # fmt: skip
    rows.add(never, np.full(days, float(settings.trays_per_day)), (part.open_day, opens, np.ones(len(opens))))
