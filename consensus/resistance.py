"""Resistance of a cell: robust centre, its uncertainty, and what a new good unit may show.

Contact resistances are positive and skewed: they are judged as ln(R + r), r half a step of the meter, so
that 0.0 Ω is a value.  Levels are judged as ln(R).  The figures of one unit at one place are one value, their
mean, because what is asked for is what one new *unit* may show.  Centre and spread of each cell are Algorithm
A's (ISO 13528:2015, C.3) of what `kept_values` leaves; spreads of one design's closed cells, and of its
resistive ones, are pooled, because a handful of units can't tell the spread of one cell; a prior spread is
worth `PRIOR_FREEDOM` degrees.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from consensus.contact_values import unit_groups
from consensus.results import OhmFigures
from consensus.robust import MAD_TO_SD, algorithm_a
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

PRIOR_FREEDOM = 4.0
FREEDOM_PER_UNIT = 3.0  # pooled cells share their units: no more degrees than that are claimed for each
MOST_FREEDOM = 60
OUTLYING = 3.0  # pooled spreads from the median of a cell beyond which a value is none of a good contact
CENTRE_U = 1.25  # standard uncertainty of x* in s* / sqrt(n) (ISO 13528:2015, 7.7.3)
LEAST_KEPT = 0.5  # share of a cell's values: where less would be left there is no majority to go by
ROUNDS = 3  # of leaving out: what is left has a smaller spread
ALIKE = 1e-9  # in ln Ω
CONTENT = 0.95
DIRTY = 0.01  # of good contacts, dirty at the time (common practice, no source): left out, yet accepted units
CLEAN_CONTENT = CONTENT / (1 - DIRTY)  # of the clean ones, so that 95 % of all good units lie inside
CONFIDENCE = 0.95


@lru_cache(maxsize=4096)
def one_sided_pooled(n: int, freedom: int, content: float = CONTENT) -> float:
    """One-sided tolerance factor with a pooled spread: t'(0.95; freedom, z sqrt(n)) / sqrt(n).

    >>> round(one_sided_pooled(10, 9), 4)
    2.911
    """
    shift = stats.norm.ppf(content) * np.sqrt(n)
    return float(stats.nct.ppf(CONFIDENCE, freedom, shift) / np.sqrt(n))


@lru_cache(maxsize=4096)
def two_sided_pooled(n: int, freedom: int, content: float = CONTENT) -> float:
    """Two-sided factor with a pooled spread: Howe's form, z sqrt(freedom (1 + 1/n) / chi2(0.05; freedom)).

    >>> from consensus.tolerance import two_sided_factor_howe
    >>> bool(abs(two_sided_pooled(43, 42) - two_sided_factor_howe(43)) < 1e-9)
    True
    """
    z = stats.norm.ppf((1 + content) / 2)
    return float(z * np.sqrt(freedom * (1 + 1 / n) / stats.chi2.ppf(1 - CONFIDENCE, freedom)))


def rectangular_u(width: float) -> float:
    """Standard uncertainty of what lies anywhere within `width` (GUM, JCGM 100:2008, 4.3.7: half of it / √3).

    >>> round(rectangular_u(0.01), 9)
    0.002886751
    """
    return float(width / np.sqrt(12))


def cell_figures(
    cell: IntArray,
    unit: IntArray,
    ohms: FloatArray,
    closed: BoolArray,
    settings: Settings,
    loose: BoolArray | None = None,
) -> list[OhmFigures | None]:
    """Figures of each cell from (n,) readings in Ω, leads subtracted.

    cell, unit: (n,) whose; closed: (cells,); loose: (cells,) resistive on no level, so that their spread is
    their own and no other's.
    """
    cells = len(closed)
    figures: list[OhmFigures | None] = [None] * cells
    loose = np.zeros(cells, dtype=bool) if loose is None else loose
    step = settings.meter_resolution_ohm / 2
    value = np.where(closed[cell], np.log(ohms + step), np.log(np.maximum(ohms, 1e-3)))
    place, group = unit_groups(cell, unit)
    mean = np.bincount(group, value) / np.bincount(group)
    for kind, prior in ((True, settings.contact_spread), (False, settings.level_spread)):
        for apart in (False, True):
            members = np.flatnonzero((closed == kind) & (loose == apart))
            rows, members = _rows(place, mean, members)
            if len(members):
                shift = step if kind else 0.0
                _fill(figures, members, rows, shift, prior, settings, apart)
    return figures


def _rows(place: IntArray, value: FloatArray, members: IntArray) -> tuple[FloatArray, IntArray]:
    """(m, most) values of those of the cells that have any, nan behind the last; places sorted."""
    first, last = np.searchsorted(place, members), np.searchsorted(place, members, side="right")
    some = last > first
    count = (last - first)[some]
    rows = np.full((len(count), int(count.max(initial=0))), np.nan)
    column = np.arange(rows.shape[1])
    taken = column < count[:, None]
    rows[taken] = value[(first[some][:, None] + column)[taken]]
    return rows, members[some]


def kept_values(rows: FloatArray, least: FloatArray, prior: float) -> FloatArray:
    """(cells, n) values without those of dirty contacts and slips: Algorithm A alone bears a fifth of them on
    one side, and less of a few; with them gone it bears 30 %.

    A value is left out beyond `OUTLYING` spreads of its cell's median.  The spread is 1.483 MAD, as where
    Algorithm A starts, but over all rows: three values tell none.  Deviations are from the median of n, hence
    sqrt(n / (n - 1)), and the median itself is none of them.  least: (cells,) half a step of the meter, for
    equal figures may be so far apart; prior: the documented spread, worth `PRIOR_FREEDOM` values.
    """
    all_of = np.isfinite(rows).sum(axis=1)
    kept = rows
    for _ in range(ROUNDS):
        away = np.abs(rows - row_medians(kept)[:, None])
        inside = away <= OUTLYING * _median_spread(np.where(np.isfinite(kept), away, np.nan), least, prior)
        inside |= (inside.sum(axis=1) < LEAST_KEPT * all_of)[:, None]
        before, kept = kept, np.where(inside, rows, np.nan)
        if np.array_equal(kept, before, equal_nan=True):
            break
    return kept


def _median_spread(away: FloatArray, least: FloatArray, prior: float) -> float:
    """1.483 times the median of the cells' (cells, n) distances from their medians, the prior mixed in."""
    count = np.isfinite(away).sum(axis=1)
    told = np.maximum(away, least[:, None]) * np.sqrt(count / np.maximum(count - 1, 1))[:, None]
    told[np.where(np.isfinite(away), away, 0.0).max(axis=1) < ALIKE] = (
        np.nan
    )  # a step of the meter, no spread
    odd = np.flatnonzero(count % 2 == 1)
    told[odd, np.where(np.isfinite(away[odd]), away[odd], np.inf).argmin(axis=1)] = np.nan
    told = told[np.isfinite(told)]
    spread = MAD_TO_SD * float(np.median(told)) if len(told) else 0.0
    return float(np.sqrt((len(told) * spread**2 + PRIOR_FREEDOM * prior**2) / (len(told) + PRIOR_FREEDOM)))


def row_medians(rows: FloatArray) -> FloatArray:
    """(cells,) medians of the rows' values, of which each has one at least."""
    count = np.isfinite(rows).sum(axis=1)
    ordered, at = np.sort(rows, axis=1), np.arange(len(rows))  # nan last
    return np.asarray((ordered[at, (count - 1) // 2] + ordered[at, count // 2]) / 2)


def cell_spreads(
    rows: FloatArray, least: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Centre, spread, degrees of freedom and count of each row, by Algorithm A.

    Where most values are equal its spread is 0, which tells of the meter, not of the contacts: there it is
    the plain sd, not less than the meter's step makes it.  Where all are equal nothing is known of it.
    """
    found = algorithm_a(rows, rounds=30, tolerance=1e-6)
    taken = np.isfinite(rows)
    mean = np.where(taken, rows, 0.0).sum(axis=1) / found.count
    freedom = np.maximum(found.count - 1, 0)
    squares = np.where(taken, (rows - mean[:, None]) ** 2, 0.0).sum(axis=1)
    plain = np.sqrt(squares / np.maximum(freedom, 1))
    differ = squares > ALIKE**2 * found.count
    spread = np.where(found.spread > 0, found.spread, np.where(differ, np.maximum(plain, least), 0.0))
    return found.centre, spread, np.where(differ, freedom, 0.0), found.count


def _fill(
    figures: list[OhmFigures | None],
    members: IntArray,
    rows: FloatArray,
    shift: float,
    prior: float,
    settings: Settings,
    apart: bool,
) -> None:
    """Figures of all closed (shift: Ω added before the logarithm), or all resistive, cells of a design;
    apart: each has a spread of its own if that is the larger."""
    resolution = settings.meter_resolution_ohm
    size = np.exp(row_medians(rows))  # Ω: a step of the meter is a share of it
    rows = kept_values(rows, resolution / 2 / size, prior)
    centre, spread, freedom, count = cell_spreads(rows, rectangular_u(resolution) / size)
    squares = 0.0 if apart else float((freedom * spread**2).sum())
    total = 0.0 if apart else float(freedom.sum())
    pooled = float(np.sqrt((squares + PRIOR_FREEDOM * prior**2) / (total + PRIOR_FREEDOM)))
    shared = FREEDOM_PER_UNIT * float(freedom.max(initial=0.0))
    type_b = rectangular_u(resolution) ** 2 + settings.lead_u_ohm**2
    for at, cell in enumerate(members):
        own = max(pooled, float(spread[at])) if apart else pooled
        known = int(min(freedom[at] if apart else min(total, shared), MOST_FREEDOM) + PRIOR_FREEDOM)
        n, middle = int(count[at]), float(centre[at])
        typical = float(np.exp(middle)) - shift
        u = float(np.hypot(CENTRE_U * own / np.sqrt(n) * np.exp(middle), np.sqrt(type_b)))
        accept = _accept(middle, own, n, known, shift, 2 * np.sqrt(type_b))
        figures[cell] = OhmFigures(max(typical, 0.0), u, accept, own, n)


def _accept(
    middle: float, spread: float, n: int, known: int, shift: float, edge: float
) -> tuple[float, float]:
    """Acceptance range in Ω: one-sided for closed contacts (shift > 0), for levels two-sided with an edge."""
    if shift > 0:
        return 0.0, float(np.exp(middle + one_sided_pooled(n, known, CLEAN_CONTENT) * spread)) - shift
    reach = two_sided_pooled(n, known, CLEAN_CONTENT) * spread
    return max(float(np.exp(middle - reach)) - edge, 0.0), float(np.exp(middle + reach)) + edge
