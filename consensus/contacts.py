"""From figures to symbols: what a reading says about the contact behind it.

The alphabet of a design is: open, closed, one symbol per resistive level, and `odd` (resistive, but on
no level that several units show).  Levels are found once per design, over all its places, because a
sheet whose numbering is mirrored shows the level of one place at another.  A reading becomes a code,
and for each contributor and code there is a vector of likelihoods over the alphabet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from consensus.readings import Kind, Readings
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

OPEN, CLOSED = 0, 1  # symbols; levels follow, `odd` is the last
OVER_LIMIT, LEAK, CONTACT, FIRST_LEVEL = range(4)  # codes; then levels, odd, wandering, censored, mixed
CONTACT_SHARE = 0.85  # of invented contacts in a design with resistive levels: read as plainly closed
MISSED_LEAK = 0.25  # a missed contact shows a leak's figure so much less often than an open one does
WANDER_HIGH = 0.35  # weight of the upper end of a reading that wandered from one state into another
NEAR_LEVEL = 0.06  # levels nearer than this share of each other are alike to who reads them


@dataclass(frozen=True)
class Alphabet:
    """Symbols of one design.  levels: (L,) Ω, ascending; series, parallel: (A, A) symbol of two contacts."""

    levels: FloatArray
    series: IntArray
    parallel: IntArray
    codes: int

    @property
    def size(self) -> int:
        """Number of symbols A: open, closed, L levels, odd."""
        return len(self.levels) + 3

    @property
    def odd(self) -> int:
        return len(self.levels) + 2

    @property
    def odd_code(self) -> int:
        return FIRST_LEVEL + len(self.levels)

    @property
    def wander_code(self) -> int:
        return self.odd_code + 1

    @property
    def censored_code(self) -> int:
        """Above the limit of a meter whose limit lies below the open range."""
        return self.odd_code + 2

    @property
    def from_contact(self) -> int:
        """From a contact's figure to a resistive one: the first level's code; odd's is the last."""
        return self.odd_code + 3

    @property
    def into_open(self) -> int:
        """Wandering from a resistive figure into the open: the first level's code, odd's is the last."""
        return self.from_contact + len(self.levels) + 1


def contact_ohms(readings: Readings) -> FloatArray:
    """(n,) Ω of the contact: reading less leads, never below 0; nan for continuity, inf for over-limit."""
    middle = np.sqrt(np.maximum(readings.low, 0.0) * np.maximum(readings.high, 0.0))
    middle = np.where(readings.kind == Kind.VALUE, readings.low, middle)
    ohms = np.maximum(middle - readings.lead, 0.0)
    ohms = np.where(readings.kind == Kind.CONTINUITY, np.nan, ohms)
    return np.where(readings.kind == Kind.OVER_LIMIT, np.inf, ohms)


def past_limit(readings: Readings, settings: Settings) -> BoolArray:
    """(n,) True for over-limit of a meter whose limit lies below the open range, also where its limit was
    written down as the figure."""
    as_number = (readings.kind == Kind.VALUE) & (readings.low == readings.limit)
    over = (readings.kind == Kind.OVER_LIMIT) | as_number
    return np.asarray(over & (readings.limit < settings.open_above_ohm))


def wandering(readings: Readings, settings: Settings) -> tuple[IntArray, FloatArray, FloatArray]:
    """Rows of readings that wandered from one state into another, and the Ω of both ends: leads subtracted,
    inf from the meter's limit on.  One that stayed within a state counts by its geometric middle."""
    rows = np.flatnonzero(readings.kind == Kind.RANGE)
    low, high = (np.maximum(end[rows] - readings.lead[rows], 0.0) for end in (readings.low, readings.high))
    high = np.where(readings.high[rows] >= readings.limit[rows], np.inf, high)
    edges = np.array([settings.closed_below_ohm, settings.open_above_ohm])
    crosses = np.searchsorted(edges, low, side="right") != np.searchsorted(edges, high, side="right")
    return rows[crosses], low[crosses], high[crosses]


def find_levels(ohms: FloatArray, unit: IntArray, settings: Settings) -> FloatArray:
    """Centres (Ω) of resistive levels that at least two units show; chained in ln(Ω) by the tolerance."""
    resistive = (ohms >= settings.closed_below_ohm) & (ohms < settings.open_above_ohm)
    if not resistive.any():
        return np.empty(0)
    order = np.argsort(ohms[resistive], kind="stable")
    figures, who = ohms[resistive][order], unit[resistive][order]
    start = np.concatenate([[True], np.diff(np.log(figures)) > settings.level_tolerance])
    cluster = np.cumsum(start) - 1
    first_unit = who[start][cluster]
    several = np.bincount(cluster, who != first_unit) > 0
    centre = np.exp(np.bincount(cluster, np.log(figures)) / np.bincount(cluster))
    return np.asarray(centre[several])


def make_alphabet(levels: FloatArray, settings: Settings) -> Alphabet:
    """Alphabet of the given levels, with the symbols of two contacts in series and in parallel."""
    size = len(levels) + 3
    values = np.concatenate([[np.inf, 0.0], levels, [np.nan]])
    with np.errstate(invalid="ignore", divide="ignore"):
        total = values[:, None] + values[None, :]
        both = 1 / (1 / values[:, None] + 1 / values[None, :])
    series = nearest_symbol(total, levels, settings)
    parallel = nearest_symbol(both, levels, settings)
    odd = size - 1
    series[OPEN, :] = series[:, OPEN] = OPEN
    series[odd, CLOSED] = series[CLOSED, odd] = odd
    parallel[CLOSED, :] = parallel[:, CLOSED] = CLOSED
    parallel[OPEN, :], parallel[:, OPEN] = np.arange(size), np.arange(size)
    codes = FIRST_LEVEL + 3 * (len(levels) + 1) + 2
    return Alphabet(levels, series, parallel, codes)


def nearest_symbol(ohms: FloatArray, levels: FloatArray, settings: Settings) -> IntArray:
    """Symbol of each figure: its level within reach, else odd.  levels: (L,) Ω, ascending."""
    symbol = np.full(ohms.shape, len(levels) + 2, dtype=np.int64)
    if len(levels):
        with np.errstate(divide="ignore", invalid="ignore"):
            figures, centres = np.log(ohms), np.log(levels)
            # the two neighbours of each figure: as many as levels² figures are asked of a ladder's chart
            after = np.searchsorted(centres, figures).clip(1, max(len(levels) - 1, 1))
            before, after = after - 1, np.minimum(after, len(levels) - 1)
            gap_before, gap_after = np.abs(figures - centres[before]), np.abs(figures - centres[after])
            nearest = np.where(gap_after < gap_before, after, before)
            close = np.minimum(gap_before, gap_after) <= settings.level_reach
        symbol = np.where(close, nearest + 2, symbol)
    symbol = np.where(ohms < settings.closed_below_ohm, CLOSED, symbol)
    return np.where(ohms >= settings.open_above_ohm, OPEN, symbol)


def alike_symbols(alphabet: Alphabet) -> BoolArray:
    """(A, A) True where two symbols are one to a meter: the same, or levels nearer than figures stray."""
    alike = np.eye(alphabet.size, dtype=bool)
    logs = np.log(alphabet.levels)
    alike[2 : alphabet.odd, 2 : alphabet.odd] = np.abs(logs[:, None] - logs[None, :]) < NEAR_LEVEL
    return alike


def reading_codes(readings: Readings, ohms: FloatArray, alphabet: Alphabet, settings: Settings) -> IntArray:
    """(n,) code of each reading: over limit, leak, contact, a level, odd, censored, or what it wandered
    between."""
    symbol = nearest_symbol(ohms, alphabet.levels, settings)
    codes = symbol + (FIRST_LEVEL - 2)
    codes[symbol == OPEN] = LEAK
    codes[(symbol == CLOSED) | np.isnan(ohms)] = CONTACT
    codes[np.isinf(ohms)] = OVER_LIMIT
    codes[past_limit(readings, settings)] = alphabet.censored_code
    rows, low, high = wandering(readings, settings)
    below, above = (nearest_symbol(end, alphabet.levels, settings) for end in (low, high))
    mixed = np.where(below == CLOSED, alphabet.from_contact + above - 2, alphabet.into_open + below - 2)
    codes[rows] = np.where((below == CLOSED) & (above == OPEN), alphabet.wander_code, mixed)
    return codes


def consistent_symbols(alphabet: Alphabet) -> BoolArray:
    """(codes, A) True where a code is what the symbol shows when nothing slips."""
    table = np.zeros((alphabet.codes, alphabet.size), dtype=bool)
    table[: LEAK + 1, 0] = True
    table[CONTACT, 1] = True
    levels = np.arange(alphabet.size - 2)
    table[FIRST_LEVEL + levels, 2 + levels] = True
    table[alphabet.wander_code] = True
    table[alphabet.from_contact + levels, 2 + levels] = table[alphabet.from_contact + levels, 1] = True
    table[alphabet.into_open + levels, 2 + levels] = table[alphabet.into_open + levels, 0] = True
    table[alphabet.censored_code] = np.arange(alphabet.size) != 1
    return table


def likelihood_table(
    alphabet: Alphabet, miss: FloatArray, invent: FloatArray, leak: float, dirty: float, settings: Settings
) -> FloatArray:
    """(contributors, codes, A) probability of a code given the contact's symbol.

    miss, invent: (contributors,) shares.  A missed contact reads as open; an invented one as closed or, in
    a design with resistors, now and then as one of its levels.  `dirty`: a closed contact that reads as
    resistive; `misread_level_rate`: a resistive one that reads as closed or as another figure.
    """
    levels, size = len(alphabet.levels), alphabet.size
    misread = settings.misread_level_rate
    closed_share = CONTACT_SHARE if levels else 0.99
    table = np.zeros((len(miss), alphabet.codes, size))
    figures = slice(FIRST_LEVEL, FIRST_LEVEL + levels + 1)
    shown, held = 1 - miss, 1 - invent
    table[:, OVER_LIMIT, OPEN] = held * (1 - leak)
    table[:, LEAK, OPEN] = held * leak
    table[:, CONTACT, OPEN] = invent * closed_share
    table[:, figures, OPEN] = (invent * (1 - closed_share) / (levels + 1))[:, None]
    table[:, OVER_LIMIT, 1:] = (miss * (1 - MISSED_LEAK * leak))[:, None]
    table[:, LEAK, 1:] = (miss * MISSED_LEAK * leak)[:, None]
    table[:, CONTACT, CLOSED] = shown * (1 - dirty)
    table[:, figures, CLOSED] = (shown * dirty / (levels + 1))[:, None]
    table[:, CONTACT, 2:] = (shown * misread * 0.15)[:, None]
    table[:, figures, 2:] = (shown * misread * 0.15 / (levels + 1))[:, None, None]
    table[:, FIRST_LEVEL + levels, 2:] += (shown * misread * 0.7)[:, None]
    for level in range(levels + 1):
        table[:, FIRST_LEVEL + level, 2 + level] += shown * (1 - misread)
    many = levels + 1
    table[:, alphabet.wander_code] = _between(table[:, CONTACT], table[:, OVER_LIMIT])
    table[:, alphabet.from_contact :][:, :many] = _between(table[:, [CONTACT]], table[:, figures])
    table[:, alphabet.into_open :][:, :many] = _between(table[:, figures], table[:, [OVER_LIMIT]])
    table[:, alphabet.censored_code] = table[:, OVER_LIMIT]
    table[:, alphabet.censored_code, 2:] = table[:, OVER_LIMIT, :1]
    return table


def _between(low: FloatArray, high: FloatArray) -> FloatArray:
    """Likelihood of a reading that wandered: part of that of its lower end, and part of the upper one's."""
    return 0.01 * (1 - WANDER_HIGH) * low + 0.01 * WANDER_HIGH * high


def censored_likelihood(
    table: FloatArray, who: IntArray, limit: FloatArray, alphabet: Alphabet
) -> FloatArray:
    """(n, A) likelihood of "above the limit" where the meter's limit lies below the open range.

    A level above the limit reads so as surely as an open contact does: right-censored, not open.
    """
    rows = table[who, OVER_LIMIT].copy()
    above = np.zeros((len(who), alphabet.size), dtype=bool)
    above[:, 2:-1] = alphabet.levels[None, :] > limit[:, None]
    return np.where(above, rows[:, [OPEN]], rows)


def deviation(alphabet: Alphabet, share: float) -> FloatArray:
    """(A, A) rows: pattern, columns: the unit.  A worn contact is open or odd, a stray one closed or odd."""
    return _deviation(alphabet.size, share)


@lru_cache(maxsize=64)
def _deviation(size: int, share: float) -> FloatArray:
    odd = size - 1
    moved = np.zeros((size, size))
    moved[0, [1, odd]] = 0.7, 0.3
    moved[1, [0, odd]] = 0.6, 0.4
    moved[2:odd, [0]] = 0.5
    moved[2:odd, odd] = 0.5
    moved[odd, [0, 1]] = 0.5
    found = (1 - share) * np.eye(size) + share * moved
    found.setflags(write=False)
    return np.asarray(found)
