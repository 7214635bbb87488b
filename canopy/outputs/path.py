"""A short way through points: nearest next one, then stretches turned round as long as that shortens it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def short_path(points: FloatArray, *, rounds: int) -> NDArray[np.int64]:
    """Order of points on a short open path from the origin.

    Nearest neighbour, then 2-opt (Croes 1958, Oper. Res. 6:791). Not always the shortest; never longer than the
    given order.

    Parameters
    ----------
    points : (n, 2) float array
    rounds : int
        Rounds of turning stretches round, at most.

    Returns
    -------
    (n,) int array
    """
    if len(points) < 2:
        return np.arange(len(points))
    tried = [_turned(_nearest(points), points, rounds=rounds), _turned(np.arange(len(points)), points, rounds=rounds)]
    return min(tried, key=lambda order: path_length(points[order]))


def path_length(points: FloatArray) -> float:
    """Length from the origin through the points in order, in their unit."""
    whole = np.vstack([np.zeros((1, 2)), points])
    return float(np.hypot(*np.diff(whole, axis=0).T).sum())


def _nearest(points: FloatArray) -> NDArray[np.int64]:
    left = np.ones(len(points), dtype=bool)
    here, order = np.zeros(2), []
    for _ in range(len(points)):
        away = np.where(left, np.hypot(*(points - here).T), np.inf)
        # To a hair's breadth equal ways are equal: the first point in the given order is taken on every machine.
        k = int(np.flatnonzero(away <= away.min() + 1e-9)[0])
        left[k] = False
        order.append(k)
        here = points[k]
    return np.array(order, dtype=np.int64)


def _turned(order: NDArray[np.int64], points: FloatArray, *, rounds: int) -> NDArray[np.int64]:
    """Turn the stretch round that shortens the open path most, until none does."""
    order = order.copy()
    for _ in range(rounds * len(order)):
        at = np.vstack([np.zeros((1, 2)), points[order]])
        apart = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
        n = len(at)
        step = apart[np.arange(n - 1), np.arange(1, n)]
        # Turning at[i+1 .. j] round joins i to j and i+1 to j+1; at the open end nothing follows.
        after = np.append(step, 0.0)
        next_ = np.vstack([apart[1:], np.zeros((1, n))])
        joined = np.hstack([next_[:, 1:], np.zeros((n, 1))])
        gain = after[:, None] + after[None, :] - apart - joined
        gain[np.tril_indices(n, 1)] = 0.0
        i, j = np.unravel_index(int(np.argmax(gain)), gain.shape)
        if gain[i, j] <= 1e-9:
            break
        order[i:j] = order[i:j][::-1]
    return order
