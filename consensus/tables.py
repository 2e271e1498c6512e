"""Beliefs of places in several tables: a star, in which every further table is a changed first one.

For table k the symbol s_k equals the first table's with probability 1 - d_k, otherwise it is drawn from
the state shares without it.  Given the messages of all units, sums over the star are exact.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.settings import Settings

FloatArray = NDArray[np.float64]

TINY = 1e-300


def _upward(others: FloatArray, prior: FloatArray, differs: FloatArray) -> FloatArray:
    """(…, V-1, Q, A) likelihood of the first table's symbol through each further table."""
    d = differs[:, None, None]
    whole = (others * prior).sum(axis=-1, keepdims=True)
    return np.asarray((1 - d) * others + d * (whole - prior * others) / (1 - prior))


def _star(
    total: FloatArray, prior: FloatArray, differs: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(first table's belief, likelihoods of the others, their upward messages) from (…, V, Q, A) logs."""
    left = total - total.max(axis=-1, keepdims=True)
    first = np.exp(left[..., 0, :, :]) * prior
    others = np.exp(left[..., 1:, :, :])
    upward = _upward(others, prior, differs)
    first = first * upward.prod(axis=-3)
    return first / first.sum(axis=-1, keepdims=True), others, upward


def place_beliefs(
    messages: FloatArray, prior: FloatArray, differs: FloatArray, apart: bool = True
) -> FloatArray:
    """(U, V, Q, A) belief of each place of each table without unit u; (1, V, Q, A) of all if not `apart`.

    messages: (U, V, Q, A) log; prior: (A,) state shares; differs: (V - 1,).
    """
    total = messages.sum(axis=0, keepdims=True)
    left = total - messages if apart else total
    if left.shape[1] == 1:
        alone = np.exp(left - left.max(axis=-1, keepdims=True)) * prior
        return np.asarray(alone / alone.sum(axis=-1, keepdims=True))
    first, others, upward = _star(left, prior, differs)
    down = first[..., None, :, :] / np.maximum(upward, TINY)
    d = differs[:, None, None]
    loose = (down / (1 - prior)).sum(axis=-1, keepdims=True) - down / (1 - prior)
    rest = others * ((1 - d) * down + d * prior * loose)
    rest /= rest.sum(axis=-1, keepdims=True)
    return np.concatenate([first[..., None, :, :], rest], axis=-3)


def log_tables(messages: FloatArray, prior: FloatArray, differs: FloatArray) -> float:
    """Log evidence of all places given the messages, with the star summed out."""
    return float(log_totals(messages.sum(axis=0), prior, differs))


def log_totals(total: FloatArray, prior: FloatArray, differs: FloatArray) -> FloatArray:
    """(…,) log evidence of all places from (…, V, Q, A) log messages of all units together."""
    peak = total.max(axis=-1, keepdims=True)
    scaled = np.exp(total - peak)
    first = scaled[..., 0, :, :] * prior
    if total.shape[-3] > 1:
        first = first * _upward(scaled[..., 1:, :, :], prior, differs).prod(axis=-3)
    evidence = np.log(np.maximum(first.sum(axis=-1), TINY)).sum(axis=-1)
    return np.asarray(evidence + peak.sum(axis=(-3, -2, -1)))


def differing_shares(
    messages: FloatArray, prior: FloatArray, differs: FloatArray, settings: Settings
) -> FloatArray:
    """(V - 1,) share of places in which each further table differs: expected counts with a Beta prior of
    `variant_differs`, worth `variant_differs_places` places."""
    if not len(differs):
        return differs
    first, others, upward = _star(messages.sum(axis=0), prior, differs)
    same = ((1 - differs)[:, None, None] * others * first / np.maximum(upward, TINY)).sum(axis=-1)
    weight = settings.variant_differs_places
    found = (1 - same).sum(axis=-1) + weight * settings.variant_differs
    return np.asarray(found / (same.shape[-1] + weight))
