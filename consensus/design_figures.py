"""Figures of a whole design: agreement beyond chance, and the cells that tell variants apart."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from consensus.contacts import alike_symbols
from consensus.encoding import Encoded
from consensus.results import FindingCell, rounded

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DRAWS = 400
SEED = 20
NEAR_ONE = 0.01  # so that draws in which nobody disagrees have a logarithm
SAYS_SOMETHING = 0.5  # nats from which a unit has a view of a place
SLIP = 0.03  # chance that a single reading misleads, when cells are ranked by what they tell
MOST_TELLING = 12
MOST_KEPT = 64  # units of designs whose draws are kept for the next design


def told_states(messages: FloatArray) -> BoolArray:
    """(U, Q, 3) what each unit says of each place, by its (U, V, Q, A) log messages."""
    said = messages.sum(axis=1)
    told = (said.max(axis=-1) - said.min(axis=-1)) > SAYS_SOMETHING
    view = np.minimum(said.argmax(axis=-1), 2)
    return np.asarray((view[..., None] == np.arange(3)) & told[..., None])


def agreement_figures(told: BoolArray) -> dict[str, Any]:
    """Krippendorff's nominal alpha over units (repaired readings, missing ones left out) and its bootstrap
    interval over units; 1 where everybody agrees on one state, None where nothing can be paired.
    told: (U, Q, 3) of `told_states`.

    Percentiles of a few units cover too little and alpha is skewed near 1: the interval is Student's with the
    bootstrap's standard error on ln(1 - alpha + `NEAR_ONE`), fixed seed.  Sources: Krippendorff (2011),
    Computing Krippendorff's alpha-reliability; Efron & Tibshirani (1993), An Introduction to the Bootstrap,
    12 and 13.
    """
    table = [told[..., state].astype(np.float64) for state in range(3) if told[..., state].any()]
    units = int(told.any(axis=(1, 2)).sum())
    alpha = _alphas(np.ones((1, len(told))), table)[0] if table else np.nan
    if not np.isfinite(alpha):
        return {"alpha": None, "alpha_interval": None, "units": units}
    draws = _kept_draws if len(told) <= MOST_KEPT else _draws
    drawn = _alphas(draws(len(told)), table)
    low, high = _interval(float(alpha), drawn[np.isfinite(drawn)], len(told))
    return {
        "alpha": rounded(float(alpha), 4),
        "alpha_interval": [rounded(float(low), 4), rounded(float(high), 4)],
        "units": units,
    }


def _interval(alpha: float, drawn: FloatArray, units: int) -> tuple[float, float]:
    """Two-sided 95 % interval from the alphas of drawn units, within -1 and 1."""
    if len(drawn) < 2 or units < 2:
        return alpha, alpha
    spread = float(np.log(1 - drawn + NEAR_ONE).std()) * np.sqrt(units / (units - 1))
    reach = float(stdtrit(units - 1, 0.975)) * spread
    low, high = (1 + NEAR_ONE - (1 - alpha + NEAR_ONE) * np.exp(sign * reach) for sign in (1, -1))
    return max(float(low), -1.0), min(float(high), 1.0)


def _draws(units: int) -> FloatArray:
    """(DRAWS, units) how often each unit is drawn: the same for all designs of so many units."""
    drawn = np.random.default_rng(SEED).integers(0, units, (DRAWS, units))
    drawn += np.arange(DRAWS)[:, None] * units
    return np.bincount(drawn.ravel(), minlength=DRAWS * units).reshape(DRAWS, units).astype(np.float64)


_kept_draws = lru_cache(maxsize=MOST_KEPT)(_draws)


def _alphas(drawn: FloatArray, table: list[FloatArray]) -> FloatArray:
    """(B,) nominal alpha, units counted as often as drawn (B, U): 1 - observed / expected disagreement.

    table: (U, Q) of each state that a unit names.  A unit drawn twice is one witness: pairs of it with itself
    are left out, as in `agreement_statistics`; without that the interval lies above alpha.
    """
    sums = [drawn @ state for state in table]
    itself = [drawn**2 @ state for state in table]
    many: FloatArray = sum(sums, np.zeros(()))
    pairs = many**2 - sum(itself, np.zeros(()))
    scale = np.divide(many, pairs, out=np.zeros_like(pairs), where=pairs > 0)
    totals = [(scale * (one * many - own)).sum(axis=1) for one, own in zip(sums, itself, strict=True)]
    observed = (scale * (many**2 - sum(one**2 for one in sums))).sum(axis=1)
    n: FloatArray = sum(totals, np.zeros(()))
    expected = sum(one * (n - one) for one in totals) / np.maximum(n - 1, 1)
    alpha = np.where(expected > 0, 1 - observed / np.maximum(expected, 1e-12), 1.0)
    return np.where(n > 1, alpha, np.nan)


def telling_cells(
    encoded: Encoded, belief: FloatArray, published: list[int], at: int
) -> tuple[FindingCell, ...]:
    """Cells in which a published table differs from another one, in its state or its resistive level, the
    reading that tells most about the variant first (Jensen-Shannon divergence of what a reading would show).
    belief: (V, Q, A)."""
    if len(published) < 2:
        return ()
    tables, size = belief[published], belief.shape[-1]
    shown = (1 - SLIP) * tables + SLIP / size
    mine, others = shown[at], np.delete(shown, at, axis=0)
    middle = (mine + others) / 2
    told = 0.5 * (mine * np.log(mine / middle) + others * np.log(others / middle)).sum(axis=-1).max(axis=0)
    likeliest = tables.argmax(axis=-1)
    apart = ~alike_symbols(encoded.alphabet)[likeliest, likeliest[at]].all(axis=0)
    order = [place for place in np.argsort(-told, kind="stable") if apart[place]]
    return tuple(_cell(encoded, int(place)) for place in order[:MOST_TELLING])


def _cell(encoded: Encoded, place: int) -> FindingCell:
    shape, design = encoded.shape, encoded.readings
    slot, pair = divmod(place, len(shape.pairs))
    (position, between), (low, high) = shape.slots[slot], shape.pairs[pair]
    pin, against = (high, low) if low == shape.common else (low, high)
    return FindingCell(design.positions[position], design.pins[pin], design.pins[against], between)
