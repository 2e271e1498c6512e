"""Beliefs of places in several tables: a star, in which every further table is a changed first one.

For table k the symbol s_k equals the first table's with probability 1 - d_k, otherwise it is drawn from
the state shares without it.  Given the messages of all units, sums over the star are exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.settings import Settings
from consensus.symbols import over_symbols, peak

FloatArray = NDArray[np.float64]

TINY = 1e-300


def _upward(others: FloatArray, prior: FloatArray, differs: FloatArray) -> FloatArray:
    """(…, V-1, Q, A) likelihood of the first table's symbol through each further table."""
    d, prior = differs[..., None, None], prior[..., None, None, :]
    whole = over_symbols(others * prior)
    return np.asarray((1 - d) * others + d * (whole - prior * others) / (1 - prior))


def _star(
    total: FloatArray, prior: FloatArray, differs: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(first table's belief, likelihoods of the others, their upward messages) from (…, V, Q, A) logs."""
    left = total - peak(total)
    first = np.exp(left[..., 0, :, :]) * prior[..., None, :]
    others = np.exp(left[..., 1:, :, :])
    upward = _upward(others, prior, differs)
    first = first * upward.prod(axis=-3)
    return first / over_symbols(first), others, upward


def place_beliefs(
    messages: FloatArray, prior: FloatArray, differs: FloatArray, apart: bool = True
) -> FloatArray:
    """(U, V, Q, A) belief of each place of each table without unit u; (1, V, Q, A) of all if not `apart`.

    messages: (U, V, Q, A) log; prior: (A,) state shares; differs: (V - 1,).
    """
    total = messages.sum(axis=0, keepdims=True)
    return beliefs_of(total - messages if apart else total, prior, differs)


def beliefs_of(total: FloatArray, prior: FloatArray, differs: FloatArray) -> FloatArray:
    """(…, V, Q, A) belief of each place of each table from the log messages that count.

    total: (…, V, Q, A); prior: (…, A) state shares; differs: (…, V - 1)."""
    if total.shape[-3] == 1:
        alone = np.exp(total - peak(total)) * prior[..., None, None, :]
        return np.asarray(alone / over_symbols(alone))
    first, others, upward = _star(total, prior, differs)
    down = first[..., None, :, :] / np.maximum(upward, TINY)
    d, prior = differs[..., None, None], prior[..., None, None, :]
    loose = over_symbols(down / (1 - prior)) - down / (1 - prior)
    rest = others * ((1 - d) * down + d * prior * loose)
    rest /= over_symbols(rest)
    return np.concatenate([first[..., None, :, :], rest], axis=-3)


def log_tables(messages: FloatArray, prior: FloatArray, differs: FloatArray) -> float:
    """Log evidence of all places given the messages, with the star summed out."""
    return float(log_totals(messages.sum(axis=0), prior, differs))


def log_totals(total: FloatArray, prior: FloatArray, differs: FloatArray) -> FloatArray:
    """(…,) log evidence of all places from (…, V, Q, A) log messages of all units together."""
    highest = peak(total)
    scaled = np.exp(total - highest)
    first = scaled[..., 0, :, :] * prior
    if total.shape[-3] > 1:
        first = first * _upward(scaled[..., 1:, :, :], prior, differs).prod(axis=-3)
    evidence = np.log(np.maximum(over_symbols(first)[..., 0], TINY)).sum(axis=-1)
    return np.asarray(evidence + highest.sum(axis=(-3, -2, -1)))


def differing_shares(
    messages: FloatArray, prior: FloatArray, differs: FloatArray, settings: Settings
) -> FloatArray:
    """(V - 1,) share of places in which each further table differs: expected counts with a Beta prior of
    `variant_differs`, worth `variant_differs_places` places."""
    return shares_that_differ(messages.sum(axis=0), prior, differs, settings)


def shares_that_differ(
    total: FloatArray, prior: FloatArray, differs: FloatArray, settings: Settings
) -> FloatArray:
    """(…, V - 1) `differing_shares` from all messages together; total: (…, V, Q, A), prior: (…, A)."""
    if not differs.shape[-1]:
        return differs
    first, others, upward = _star(total, prior, differs)
    same = (1 - differs)[..., None, None] * others * first[..., None, :, :] / np.maximum(upward, TINY)
    same = over_symbols(same)[..., 0]
    weight = settings.variant_differs_places
    found = (1 - same).sum(axis=-1) + weight * settings.variant_differs
    return np.asarray(found / (same.shape[-1] + weight))
