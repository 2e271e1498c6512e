"""Figures of a whole design: agreement beyond chance, and the cells that tell variants apart."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import Alphabet
from consensus.encoding import Encoded
from consensus.results import FindingCell, rounded

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DRAWS = 100
SEED = 20
SAYS_SOMETHING = 0.5  # nats from which a unit has a view of a place
SLIP = 0.03  # chance that a single reading misleads, when cells are ranked by what they tell
NEAR_LEVEL = 0.06  # levels nearer than this share of each other are alike to who reads them
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

    Sources: Krippendorff (2011), Computing Krippendorff's alpha-reliability; Efron & Tibshirani (1993),
    An Introduction to the Bootstrap, chapter 13 (percentile interval, fixed seed).
    """
    table = told.reshape(len(told), -1).astype(np.float64)
    units = int(told.any(axis=(1, 2)).sum())
    alpha = _alphas(table.sum(axis=0)[None], told.shape[1])[0]
    if not np.isfinite(alpha):
        return {"alpha": None, "alpha_interval": None, "units": units}
    draws = _kept_draws if len(table) <= MOST_KEPT else _draws
    drawn = _alphas(draws(len(table)) @ table, told.shape[1])
    drawn = drawn[np.isfinite(drawn)]
    low, high = np.quantile(drawn, [0.025, 0.975]) if len(drawn) else (alpha, alpha)
    return {
        "alpha": rounded(float(alpha), 4),
        "alpha_interval": [rounded(float(low), 4), rounded(float(high), 4)],
        "units": units,
    }


def _draws(units: int) -> FloatArray:
    """(DRAWS, units) how often each unit is drawn: the same for all designs of so many units."""
    rng = np.random.default_rng(SEED)
    return rng.multinomial(units, np.full(units, 1 / units), DRAWS).astype(np.float64)


_kept_draws = lru_cache(maxsize=MOST_KEPT)(_draws)


def _alphas(counts: FloatArray, places: int) -> FloatArray:
    """(B,) nominal alpha from (B, places * 3) counts of states: 1 - observed / expected disagreement."""
    table = counts.reshape(len(counts), places, 3)
    many = table.sum(axis=2)
    paired = np.where(many[..., None] > 1, table, 0.0)
    size = np.maximum(many, 2)
    observed = (paired * (size[..., None] - paired) / (size - 1)[..., None]).sum(axis=(1, 2))
    totals = paired.sum(axis=1)
    n = totals.sum(axis=1)
    expected = (totals * (n[:, None] - totals)).sum(axis=1) / np.maximum(n - 1, 1)
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


def alike_symbols(alphabet: Alphabet) -> BoolArray:
    """(A, A) True where two symbols are one to a meter: the same, or levels nearer than figures stray."""
    alike = np.eye(alphabet.size, dtype=bool)
    logs = np.log(alphabet.levels)
    alike[2 : alphabet.odd, 2 : alphabet.odd] = np.abs(logs[:, None] - logs[None, :]) < NEAR_LEVEL
    return alike


def _cell(encoded: Encoded, place: int) -> FindingCell:
    shape, design = encoded.shape, encoded.readings
    slot, pair = divmod(place, len(shape.pairs))
    (position, between), (low, high) = shape.slots[slot], shape.pairs[pair]
    pin, against = (high, low) if low == shape.common else (low, high)
    return FindingCell(design.positions[position], design.pins[pin], design.pins[against], between)
