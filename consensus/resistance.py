"""Resistance of a cell: robust centre, its uncertainty, and what a new good unit may show.

Contact resistances are positive and skewed: they are judged as ln(R + r), r half a step of the meter, so
that 0.0 Ω is a value.  Levels are judged as ln(R).  Centre and spread of each cell are Algorithm A's
(ISO 13528:2015, C.3); spreads of one design's closed cells, and of its resistive ones, are pooled, because
a handful of units can't tell the spread of one cell; a prior spread is worth `PRIOR_FREEDOM` degrees.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from consensus.results import OhmFigures
from consensus.robust import algorithm_a
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

PRIOR_FREEDOM = 4.0
FREEDOM_PER_UNIT = 3.0  # pooled cells share their units: no more degrees than that are claimed for each
MOST_FREEDOM = 60
CONTENT = 0.95
CONFIDENCE = 0.95


@lru_cache(maxsize=4096)
def one_sided_pooled(n: int, freedom: int) -> float:
    """One-sided tolerance factor with a pooled spread: t'(0.95; freedom, z sqrt(n)) / sqrt(n).

    >>> round(one_sided_pooled(10, 9), 4)
    2.911
    """
    shift = stats.norm.ppf(CONTENT) * np.sqrt(n)
    return float(stats.nct.ppf(CONFIDENCE, freedom, shift) / np.sqrt(n))


@lru_cache(maxsize=4096)
def two_sided_pooled(n: int, freedom: int) -> float:
    """Two-sided factor with a pooled spread: Howe's form, z sqrt(freedom (1 + 1/n) / chi2(0.05; freedom)).

    >>> from consensus.tolerance import two_sided_factor_howe
    >>> bool(abs(two_sided_pooled(43, 42) - two_sided_factor_howe(43)) < 1e-9)
    True
    """
    z = stats.norm.ppf((1 + CONTENT) / 2)
    return float(z * np.sqrt(freedom * (1 + 1 / n) / stats.chi2.ppf(1 - CONFIDENCE, freedom)))


def rectangular_u(width: float) -> float:
    """Standard uncertainty of what lies anywhere within `width` (GUM, JCGM 100:2008, 4.3.7: half of it / √3).

    >>> round(rectangular_u(0.01), 9)
    0.002886751
    """
    return float(width / np.sqrt(12))


def cell_figures(
    cell: IntArray, ohms: FloatArray, closed: NDArray[np.bool_], cells: int, settings: Settings
) -> list[OhmFigures | None]:
    """Figures of each cell from (n,) readings in Ω, leads subtracted, sorted by cell; closed: (cells,)."""
    count = np.bincount(cell, minlength=cells)
    if not len(cell):
        return [None] * cells
    rows = np.full((cells, int(count.max())), np.nan)
    rank = np.arange(len(cell)) - np.repeat(np.cumsum(count) - count, count)
    step = settings.meter_resolution_ohm / 2
    rows[cell, rank] = np.where(closed[cell], np.log(ohms + step), np.log(np.maximum(ohms, 1e-3)))
    found = algorithm_a(rows, rounds=30, tolerance=1e-6)
    figures: list[OhmFigures | None] = [None] * cells
    for group in (True, False):
        members = np.flatnonzero((closed == group) & (count > 0))
        if len(members):
            _fill(figures, members, count, found.centre, found.spread, group, settings)
    return figures


def _fill(
    figures: list[OhmFigures | None],
    members: IntArray,
    count: IntArray,
    centre: FloatArray,
    spread: FloatArray,
    closed: bool,
    settings: Settings,
) -> None:
    """Figures of all closed, or all resistive, cells of a design."""
    prior = settings.contact_spread if closed else settings.level_spread
    freedom = count[members] - 1.0
    squares = (freedom * spread[members] ** 2).sum() + PRIOR_FREEDOM * prior**2
    pooled = float(np.sqrt(squares / (freedom.sum() + PRIOR_FREEDOM)))
    shared = FREEDOM_PER_UNIT * float(freedom.max(initial=0.0))
    known = int(min(freedom.sum(), shared, MOST_FREEDOM) + PRIOR_FREEDOM)
    step = settings.meter_resolution_ohm / 2
    for cell in members:
        n, middle = int(count[cell]), float(centre[cell])
        typical = float(np.exp(middle)) - (step if closed else 0.0)
        sampled = 1.25 * pooled / np.sqrt(n) * np.exp(middle)
        type_b = rectangular_u(settings.meter_resolution_ohm) ** 2 + settings.lead_u_ohm**2
        u = float(np.sqrt(sampled**2 + type_b))
        if closed:
            accept = (0.0, float(np.exp(middle + one_sided_pooled(n, known) * pooled)) - step)
        else:
            reach = two_sided_pooled(n, known) * pooled
            edge = 2 * np.sqrt(type_b)
            accept = (float(np.exp(middle - reach)) - edge, float(np.exp(middle + reach)) + edge)
        figures[cell] = OhmFigures(max(typical, 0.0), u, accept, pooled, n)
