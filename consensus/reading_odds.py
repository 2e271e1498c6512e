"""How likely a reading is, given what the contact behind it is.

For a figure the likelihood is a density in ln(Ω); for "over the limit" and bare continuity it is a
probability.  All hypotheses of a sheet explain the same readings, so the measure cancels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import CLOSED, OPEN, Alphabet
from consensus.reader_rates import ReaderRates, reader_rates
from consensus.readings import Kind, Readings
from consensus.results import ReadingModel
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# a worn contact stays open, stays high, or comes and goes; how each kind reads (open, high, closed)
WORN_FROM_OHM = 40.0  # less is dirt
WORN_SHARES = np.array([0.45, 0.40, 0.15])
WORN_READS = np.array([[0.93, 0.04, 0.03], [0.05, 0.90, 0.05], [0.30, 0.20, 0.50]])
FLOOR = 1e-7  # nothing is impossible: a pen slips, a row is skipped
LOWEST_OHM = 0.03  # figures below are no better known than this
METER_U = 0.01 / np.sqrt(3)  # 1 % of the figure, rectangular (GUM type B)
LEAK_DENSITY = 1 / np.log(1e3)  # of ln(Ω) of a leak: log-uniform over three decades
DIRTY_TIMES, DIRTY_SPREAD, DIRTY_SHARE = 15.0, 0.9, 0.015  # a dirty contact that still reads as closed
WANDER_GOOD, WANDER_WORN = 3e-4, 0.2  # share of readings that wander across the limit of closed
HARNESS_SPREAD = 0.5  # ln-spread that plugs and wires add to a closed contact
MISSED_FIGURE = 0.002  # of missed closed contacts: some resistance is written down, not "over the limit"
OTHER_LEVEL = 0.55  # of missed levels: another level is written down, not "over the limit"
MOST_DIRTY = 5e-4  # a contact that reads as resistive is worn; so much is left to dirt on the probes


@dataclass(frozen=True)
class ReadingOdds:
    """likelihood: (n, A + 2) of each reading under each symbol, unknown and worn last; flat: (n,) of
    nonsense; worn: (n, kinds) under each kind of worn contact; slip: (n, A + 2) chance that the reading is a
    slip, given the symbol; shows_open, shows_contact: (n,) what the figure looks like; rates: of the reader,
    whose means the likelihoods hold."""

    likelihood: FloatArray
    flat: FloatArray
    worn: FloatArray
    slip: FloatArray
    shows_open: BoolArray
    shows_contact: BoolArray
    rates: ReaderRates

    @property
    def miss(self) -> float:
        return self.rates.miss_rate

    @property
    def invent(self) -> float:
        return self.rates.invent_rate


def contact_figures(readings: Readings) -> FloatArray:
    """(n,) Ω of the contact: the reading less its leads, not below LOWEST_OHM; inf above the limit, nan for
    bare continuity; a wandering reading stands at its geometric middle."""
    low = np.maximum(readings.low - readings.lead, LOWEST_OHM)
    high = np.maximum(readings.high - readings.lead, LOWEST_OHM)
    ohm = np.where(readings.kind == Kind.CONTINUITY, np.nan, np.sqrt(low * high))
    return np.where(readings.kind == Kind.OVER_LIMIT, np.inf, ohm)


class _Looks:
    """What the readings look like, and the densities that several symbols share."""

    def __init__(self, readings: Readings, model: ReadingModel, settings: Settings, read_at: str) -> None:
        ohm = contact_figures(readings)
        self.limit, self.model = readings.limit, model
        self.over, self.bare = np.isinf(ohm), np.isnan(ohm)
        self.figure = ~self.over & ~self.bare
        self.y = np.where(self.figure, ohm, 1.0)
        self.leak = self.figure & (ohm >= settings.open_above_ohm)
        resistive = self.figure & ~self.leak & (ohm >= settings.closed_below_ohm)
        any_figure = 1.0 / np.log(settings.open_above_ohm / settings.closed_below_ohm)
        self.scatter = np.where(resistive, any_figure, 0.0)  # resistive, at no level in particular
        worn_figure = resistive & (ohm >= WORN_FROM_OHM)
        self.high = np.where(worn_figure, 1.0 / np.log(settings.open_above_ohm / WORN_FROM_OHM), 0.0)
        self.open_like = self.over + np.where(self.leak, model.leak * LEAK_DENSITY, 0.0)
        extra = 0.0 if read_at == "bench" else HARNESS_SPREAD
        self.contact_spread = float(np.hypot(model.contact_spread, extra))
        self.step = settings.meter_resolution_ohm / np.sqrt(12)  # rectangular (GUM type B)
        self.closed = self.closed_with(np.zeros(len(ohm)))

    def closed_with(self, added: FloatArray) -> FloatArray:
        """Likelihood of a closed contact with `added` Ω in series: lognormal, now and then dirty."""
        model = self.model
        away = np.log(self.y / model.contact_ohm)
        alone = (1 - DIRTY_SHARE) * _normal(
            away, np.hypot(self.contact_spread, np.minimum(self.step / self.y, 1))
        )
        alone += DIRTY_SHARE * _normal(away - np.log(DIRTY_TIMES), DIRTY_SPREAD)
        density = np.where(added > 0, self.level_with(added), alone)
        return np.where(self.bare, _buzzes(added), density * self.figure)

    def level_with(self, level: FloatArray) -> FloatArray:
        """Density of a resistive level (…, n) with a contact in series; one in fifty strays further."""
        total = level + self.model.contact_ohm
        contact = self.model.contact_ohm * self.contact_spread / total
        spread = np.hypot(np.hypot(self.model.level_spread, METER_U), contact)
        away = np.log(self.y / total)
        return 0.98 * _normal(away, spread) + 0.02 * _normal(away, 6 * spread)


def reading_odds(
    readings: Readings,
    alphabet: Alphabet,
    model: ReadingModel,
    contributor: str,
    settings: Settings,
    read_at: str = "bench",
    added_ohm: FloatArray | None = None,
    levels: Sequence[float] = (),
) -> ReadingOdds:
    """Likelihoods of the readings of one sheet, by the slip rates of its reader (population if unknown).

    levels: Ω that the design's places show, one of which a reader may have caught instead of another;
    added_ohm: (n,) Ω that stand in series with whatever is read there (a resistive common); None: nothing.
    """
    looks = _Looks(readings, model, settings, read_at)
    rates = reader_rates(model, contributor, settings)
    added = np.zeros(len(readings)) if added_ohm is None else added_ohm
    size = alphabet.size
    closed = looks.closed_with(added) if added_ohm is not None else looks.closed
    held, slipped = np.zeros((2, len(readings), size + 2))
    held[:, OPEN] = looks.over * (1 - model.leak) + np.where(looks.leak, looks.open_like, 0.0)
    slipped[:, OPEN] = 0.85 * looks.closed + 0.15 * looks.scatter
    dirty = min(model.dirty, MOST_DIRTY)
    held[:, CLOSED] = (1 - dirty) * closed + dirty * looks.scatter
    held[:, alphabet.odd] = 0.9 * looks.scatter + 0.05 * looks.closed
    lost = (1 - MISSED_FIGURE) * looks.open_like + MISSED_FIGURE * looks.scatter
    slipped[:, CLOSED] = slipped[:, alphabet.odd] = lost
    held[:, 2 : alphabet.odd], slipped[:, 2 : alphabet.odd] = _level_columns(
        looks, alphabet, added, closed, levels
    )
    share = np.full(size + 2, rates.miss_rate)
    share[OPEN], share[size:] = rates.invent_rate, 0.0
    held[:, size] = 0.5 * looks.open_like + 0.35 * looks.closed + 0.15 * looks.scatter  # unknown
    out, slip = (1 - share) * held + share * slipped, share * slipped
    opened = looks.over * (1 - model.leak) + np.where(looks.leak, looks.open_like, 0.0)
    worn = np.stack([opened, looks.high, looks.closed], axis=1) @ WORN_READS.T
    _wandering_worn(worn, readings, settings)
    out[:, size + 1] = worn @ WORN_SHARES
    flat = 0.5 * looks.open_like + 0.4 * looks.closed + 0.1 * looks.scatter
    slip /= np.maximum(out, FLOOR)
    _wandering(out[:, : size + 1], readings, settings)
    return ReadingOdds(
        likelihood=np.maximum(out, FLOOR),
        flat=np.maximum(flat, FLOOR),
        worn=np.maximum(worn, FLOOR),
        slip=np.minimum(slip, 1.0),
        shows_open=looks.over | looks.leak,
        shows_contact=looks.bare | (looks.figure & ~looks.leak),
        rates=rates,
    )


def _level_columns(
    looks: _Looks, alphabet: Alphabet, added: FloatArray, closed: FloatArray, others: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """(n, L) likelihoods under each resistive level, as read and slipped; above the meter's limit a level
    reads as open does."""
    level = alphabet.levels[:, None] + added[None, :]
    density = np.where(looks.bare, _buzzes(level), looks.level_with(level) * looks.figure)
    caught = looks.scatter
    if len(others):
        at_levels = looks.level_with(np.array(others)[:, None] + added[None, :]) * looks.figure
        caught = 0.98 * at_levels.mean(axis=0) + 0.02 * looks.scatter
    misread = looks.model.misread_level
    shown = (1 - misread) * density + misread / 2 * (caught + closed)
    lost = (1 - OTHER_LEVEL) * looks.open_like + OTHER_LEVEL * caught
    censored = looks.over & (level > looks.limit)
    held, slipped = np.where(censored, 1.0, shown), np.where(censored, 1.0, lost)
    return held.T, slipped.T


def _normal(away: FloatArray, spread: FloatArray | float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (away / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))


def _buzzes(ohm: FloatArray) -> FloatArray:
    """Probability that a meter's buzzer sounds at a resistance: inexpensive ones give up near 30 to 50 Ω."""
    return 1.0 / (1.0 + (ohm / 40.0) ** 4)


def wanders_out(readings: Readings, settings: Settings) -> BoolArray:
    """(n,) True where a reading wandered out of the closed range."""
    ranged = readings.kind == Kind.RANGE
    low, high = readings.low - readings.lead, readings.high - readings.lead
    limit = settings.closed_below_ohm
    return np.asarray(ranged & (low < limit) & (high >= limit))


def _wandering(out: FloatArray, readings: Readings, settings: Settings) -> None:
    """Readings that wandered out of the closed range: seldom on a sound contact."""
    crosses = wanders_out(readings, settings)
    out[crosses] = WANDER_GOOD
    out[crosses, OPEN] = WANDER_GOOD / 2


def _wandering_worn(worn: FloatArray, readings: Readings, settings: Settings) -> None:
    """Often on a worn one, most of all on one that comes and goes."""
    worn[wanders_out(readings, settings)] = (WANDER_WORN / 4, WANDER_WORN, 3 * WANDER_WORN)


def with_repeats(odds: ReadingOdds, place: NDArray[np.int64]) -> ReadingOdds:
    """The same, several readings of one place (n,) taken together: a worn contact keeps its kind.

    Each reading's likelihood is what is expected of it after those before it, so that their product is the
    joint one.
    """
    column = odds.likelihood[:, -1].copy()
    shares: dict[int, FloatArray] = {}
    for row, cell in enumerate(place.tolist()):
        share = shares.get(cell, WORN_SHARES)
        column[row] = float(odds.worn[row] @ share)
        shares[cell] = share * odds.worn[row] / column[row]
    likelihood = odds.likelihood.copy()
    likelihood[:, -1] = column
    return replace(odds, likelihood=likelihood)
