"""Leakage of open places: how low a good unit may read where nothing connects, from readings most of which
are beyond the meter.

ln R of one unit is taken as normal, right-censored at its meter's limit; each place has a mean of its own,
all open places of a design one spread, which a documented spread is added to as `PRIOR_FREEDOM` values.
Maximum likelihood in theta = 1 / sigma and delta = mu / sigma, in which it is concave (Olsen 1978,
Econometrica 46:1211-1215, from memory), so that Newton's steps find the one peak.  The bound is the usual
one of censored lifetimes: the normal-theory confidence bound of a quantile (Meeker & Escobar 1998,
Statistical Methods for Reliability Data, 8.4, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from consensus.contact_values import unit_groups
from consensus.results import LeakFigures

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

LEAK_SPREAD = 1.0  # sd of ln R of leaking opens before data (common practice, no source)
PRIOR_FREEDOM = 4.0
CONTENT_Z = CONFIDENCE_Z = 1.6448536269514722  # 95 % one-sided
MOST_STEPS = 40
STILL = 1e-9


@dataclass(frozen=True)
class _Censored:
    """Distinct values of places: cell, x (ln Ω less a common centre), weight, and whether it was seen (a
    figure) or lies above."""

    cell: IntArray
    x: FloatArray
    weight: FloatArray
    seen: NDArray[np.bool_]
    cells: int


def leak_figures(
    place: IntArray, unit: IntArray, ohm: FloatArray, limit: FloatArray, places: int
) -> list[LeakFigures | None]:
    """Leakage of each place from (n,) readings of open ones in Ω, inf = above `limit`; None where none of its
    units showed a figure.  A unit's figures are one value, their mean in ln Ω."""
    found: list[LeakFigures | None] = [None] * places
    figure = np.isfinite(ohm)
    if not figure.any():
        return found
    leaks = np.unique(place[figure])
    mine = np.isin(place, leaks)
    at, group = unit_groups(place[mine], unit[mine])
    ohm, limit, figure = ohm[mine], limit[mine], figure[mine]
    figures = np.bincount(group[figure], minlength=len(at))
    total = np.bincount(group[figure], np.log(ohm[figure]), len(at))
    highest = np.zeros(len(at))
    np.maximum.at(highest, group, limit)
    seen = figures > 0
    value = np.where(seen, total / np.maximum(figures, 1), np.log(highest))
    data, centre = _distinct(np.searchsorted(leaks, at), value, seen, len(leaks))
    typical, least = _bounds(data)
    lowest = np.full(len(leaks), np.inf)
    np.minimum.at(lowest, np.searchsorted(leaks, at)[~seen], value[~seen])
    units, shown = np.bincount(np.searchsorted(leaks, at)), np.bincount(np.searchsorted(leaks, at), seen)
    for row, cell in enumerate(leaks):
        middle, low = typical[row] + centre, least[row] + centre
        found[cell] = LeakFigures(
            typical=None if middle > lowest[row] else float(np.exp(middle)),  # beyond what a meter showed
            least=float(np.exp(min(low, lowest[row]))),
            units=int(units[row]),
            figures=int(shown[row]),
        )
    return found


def _distinct(
    cell: IntArray, value: FloatArray, seen: NDArray[np.bool_], cells: int
) -> tuple[_Censored, float]:
    """The values with their weights, few of them: thousands of units share three limits."""
    centre = float(value[seen].mean())
    limits, which = np.unique(value[~seen], return_inverse=True)
    many = np.bincount(cell[~seen] * len(limits) + which.ravel(), minlength=cells * len(limits))
    kept = np.flatnonzero(many)
    above = kept // max(len(limits), 1)
    figures = int(seen.sum())
    return _Censored(
        cell=np.concatenate([cell[seen], above]),
        x=np.concatenate([value[seen], limits[kept % max(len(limits), 1)]]) - centre,
        weight=np.concatenate([np.ones(figures), many[kept]]),
        seen=np.arange(figures + len(kept)) < figures,
        cells=cells,
    ), centre


def _bounds(data: _Censored) -> tuple[FloatArray, FloatArray]:
    """(cells,) mean of ln Ω, and the lower bound of what 95 % of units exceed, with a confidence of 95 %.

    The likelihood's sigma is that of known means: it is widened by the degrees of freedom that these cost.
    """
    theta, delta = _peak(data)
    _, _, (own, cross, common) = _slopes(data, theta, delta)
    rest = common - (cross**2 / own).sum()
    var_delta = 1 / own + (cross / own) ** 2 / rest
    both, var_theta = -cross / own / rest, 1 / rest
    # by delta, and by theta, of the quantile (delta - z) / theta
    along = -(delta - CONTENT_Z) / theta**2
    variance = var_delta / theta**2 + 2 * along / theta * both + along**2 * var_theta
    seen = float(data.weight[data.seen].sum()) + PRIOR_FREEDOM
    wider = np.sqrt(seen / max(seen - data.cells, PRIOR_FREEDOM))
    return delta / theta, delta / theta - wider * (CONTENT_Z / theta + CONFIDENCE_Z * np.sqrt(variance))


def _peak(data: _Censored) -> tuple[float, FloatArray]:
    """theta and (cells,) delta of the highest likelihood."""
    weight = np.bincount(data.cell, data.weight)
    theta = 1 / LEAK_SPREAD
    delta = theta * np.bincount(data.cell, data.weight * data.x) / weight
    height = _height(data, theta, delta)
    for _ in range(MOST_STEPS):
        at_theta, at_delta, (own, cross, common) = _slopes(data, theta, delta)
        step = (at_theta - (cross / own * at_delta).sum()) / (common - (cross**2 / own).sum())
        steps = (at_delta - cross * step) / own
        share = min(1.0, 0.5 * theta / max(-step, 1e-300)) if step < 0 else 1.0
        while (higher := _height(data, theta + share * step, delta + share * steps)) < height - STILL:
            share /= 2
            if share < STILL:
                return theta, delta
        theta, delta, height = theta + share * step, delta + share * steps, higher
        if max(abs(step), float(np.abs(steps).max())) < STILL * 1e3:
            break
    return theta, delta


def _height(data: _Censored, theta: float, delta: FloatArray) -> float:
    """Log posterior but for constants."""
    away = theta * data.x - delta[data.cell]
    each = np.where(data.seen, np.log(theta) - away**2 / 2, log_ndtr(-away))
    prior = PRIOR_FREEDOM * (np.log(theta) - (LEAK_SPREAD * theta) ** 2 / 2)
    return float((data.weight * each).sum() + prior)


def _slopes(
    data: _Censored, theta: float, delta: FloatArray
) -> tuple[float, FloatArray, tuple[FloatArray, FloatArray, float]]:
    """First derivatives by theta and delta, and the negative second: by delta twice, both, theta twice."""
    away = theta * data.x - delta[data.cell]
    mills = np.exp(-(away**2) / 2 - np.log(2 * np.pi) / 2 - log_ndtr(-away))
    first = data.weight * np.where(data.seen, away, mills)  # by delta
    second = data.weight * np.where(data.seen, 1.0, mills * (mills - away))
    seen = float(data.weight[data.seen].sum()) + PRIOR_FREEDOM
    at_theta = seen / theta - PRIOR_FREEDOM * LEAK_SPREAD**2 * theta - float((first * data.x).sum())
    common = seen / theta**2 + PRIOR_FREEDOM * LEAK_SPREAD**2 + float((second * data.x**2).sum())
    cross, own, by_delta = (
        np.bincount(data.cell, each, data.cells).astype(np.float64)
        for each in (-second * data.x, second, first)
    )
    return at_theta, by_delta, (own, cross, common)
