"""Pairs of sheets and hypotheses under several tables at once: one call of numpy for all of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.inference import Pairs, predict
from consensus.problem import Problem

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def in_tables(pairs: Pairs, tables: int) -> Pairs:
    """The pairs once for each table, one table after the other."""
    if tables == 1:
        return pairs
    many, entries = len(pairs), len(pairs.pair)
    return Pairs(
        sheet=np.tile(pairs.sheet, tables),
        hypothesis=np.tile(pairs.hypothesis, tables),
        pair=np.tile(pairs.pair, tables) + np.repeat(np.arange(tables) * many, entries),
        row=np.tile(pairs.row, tables),
        source=np.tile(pairs.source, tables),
    )


def belief_rows(problem: Problem, pairs: Pairs, tables: int) -> IntArray:
    """(E,) which of (U · V, sources, A) beliefs each entry of `in_tables` is told by."""
    many = len(pairs) // tables
    row = problem.unit.take(pairs.sheet) * tables
    if tables > 1:
        row += np.repeat(np.arange(tables), many)
    return np.asarray(row.take(pairs.pair))


def fits(problem: Problem, pairs: Pairs, beliefs: FloatArray) -> FloatArray:
    """(P, V) log likelihoods of pairs under (U, V, sources, A) beliefs."""
    tables = beliefs.shape[1]
    copied = in_tables(pairs, tables)
    flat = beliefs.reshape(-1, *beliefs.shape[2:])
    chance = predict(problem, flat, copied, belief_rows(problem, copied, tables))
    found = np.bincount(copied.pair, np.log(chance), len(copied)).astype(np.float64)
    return np.ascontiguousarray(found.reshape(tables, -1).T)
