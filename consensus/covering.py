"""The smallest set of places that meets every demand: exact if small, greedy with its bound beyond."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

BoolArray = NDArray[np.bool_]
EXACT_UP_TO = 64  # places
TIME_LIMIT = 20.0  # s


@dataclass(frozen=True)
class Cover:
    """chosen: indices of places, ascending; exact: proved smallest; bound: no set can be smaller."""

    chosen: tuple[int, ...]
    exact: bool
    bound: int


def smallest_cover(demands: BoolArray) -> Cover:
    """Smallest set of columns of `demands` (demands, places) with a True in every row that has one.

    An integer programme (Balas & Padberg 1972, set covering) up to EXACT_UP_TO places; else greedy (Chvátal
    1979, Math. Oper. Res. 4:233-235) with the bound of the relaxed programme.

    >>> smallest_cover(np.array([[True, True, False], [False, True, True], [True, False, False]]))
    Cover(chosen=(0, 1), exact=True, bound=2)
    """
    rows = needed_rows(demands)
    if not len(rows):
        return Cover((), True, 0)
    greedy = _greedy(rows)
    if rows.shape[1] > EXACT_UP_TO:
        bound = _bound(rows)
        return Cover(greedy, len(greedy) == bound, bound)
    places = rows.shape[1]
    # a tiny cost by index makes the answer one of many the same on every machine
    cost = 1.0 + np.arange(places) * (0.1 / places**2)
    answer = milp(
        cost,
        constraints=LinearConstraint(rows.astype(np.float64), lb=1.0),
        integrality=np.ones(places),
        bounds=Bounds(0, 1),
        options={"time_limit": TIME_LIMIT},
    )
    if answer.status != 0:
        bound = _bound(rows)
        return Cover(greedy, len(greedy) == bound, bound)
    chosen = tuple(int(at) for at in np.flatnonzero(answer.x > 0.5))
    return Cover(chosen, True, len(chosen))


def needed_rows(demands: BoolArray) -> BoolArray:
    """Rows that are not met by meeting another: no empty ones, no supersets, none twice."""
    weights = [
        int(row) for row in (1 << np.arange(demands.shape[1], dtype=object)) @ demands.T.astype(object)
    ]
    kept: list[int] = []
    first: dict[int, int] = {}
    for at, mask in enumerate(weights):
        first.setdefault(mask, at)
    for mask in sorted(first, key=lambda mask: (mask.bit_count(), mask)):
        if mask and not any(mask & other == other for other in kept):
            kept.append(mask)
    return demands[[first[mask] for mask in kept]] if kept else demands[:0]


def _greedy(rows: BoolArray) -> tuple[int, ...]:
    """Take the place that meets most open demands, then drop what has become superfluous."""
    left = np.ones(len(rows), dtype=bool)
    chosen: list[int] = []
    while left.any():
        best = int(rows[left].sum(axis=0).argmax())
        chosen.append(best)
        left &= ~rows[:, best]
    for place in list(chosen):
        others = [at for at in chosen if at != place]
        if others and rows[:, others].any(axis=1).all():
            chosen = others
    return tuple(sorted(chosen))


def _bound(rows: BoolArray) -> int:
    """Lower bound: the programme with fractions allowed, rounded up."""
    relaxed = milp(
        np.ones(rows.shape[1]),
        constraints=LinearConstraint(rows.astype(np.float64), lb=1.0),
        bounds=Bounds(0, 1),
    )
    return int(np.ceil(relaxed.fun - 1e-6))
