"""Findings of the sheets that do not count (suspects, what a moderator set aside), against the final tables.

Each is weighed under every mistake with every fault: of a thousand suspects the memory would not hold that at
once.  What is said of a unit depends on no other one, so that they are taken part by part.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from consensus.encoding import Encoded
from consensus.explanation import explain
from consensus.findings import TableRole, find_all
from consensus.hypotheses import enumerate_hypotheses
from consensus.inference import crossed_pairs, source_beliefs
from consensus.problem import make_problem
from consensus.propagation import judge
from consensus.reliability import Reliability
from consensus.results import SheetFinding
from consensus.settings import Settings

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

AT_ONCE = 3_000_000  # readings of sheets under hypotheses, and figures of their units' places, in one part


def findings_aside(
    encoded: Encoded,
    belief: FloatArray,
    prior: FloatArray,
    share: FloatArray,
    block: int,
    roles: list[TableRole],
    reliability: Reliability,
    settings: Settings,
) -> Iterator[tuple[int, SheetFinding]]:
    """(sheet, finding) of each sheet that does not count.  belief: (V, Q, A) of the final tables; prior: (A,)
    state shares; share: (V,); block: the table that a few accounts made up, or -1."""
    for sheets in parts_aside(encoded, belief.size):
        problem = make_problem(encoded, reliability, settings, sheets)
        beliefs = np.repeat(belief[None], problem.units, axis=0)
        pairs = crossed_pairs(problem, np.ones(len(sheets), dtype=bool))
        _, posterior, _ = judge(problem, pairs, source_beliefs(problem, beliefs, prior), share, block)
        pattern = source_beliefs(problem, beliefs, prior, False)
        told = explain(problem, pairs, posterior, pattern, encoded.code)
        found = find_all(encoded, problem.hypotheses, told, sheets, roles)
        yield from zip(sheets.tolist(), found, strict=True)


def parts_aside(encoded: Encoded, figures: int) -> list[IntArray]:
    """The sheets that do not count, in parts of no more than about `AT_ONCE`; those of one unit together.
    figures: of the tables, which each unit gets a copy of."""
    aside = np.flatnonzero(~encoded.counts)
    if not len(aside):
        return []
    _names, unit = np.unique(encoded.unit[aside], return_inverse=True)
    readings = np.bincount(encoded.sheet, minlength=encoded.sheets)[aside]
    weight = np.bincount(unit, readings * len(enumerate_hypotheses(encoded.shape).source)) + figures
    part = ((np.cumsum(weight) - weight) // AT_ONCE)[unit]
    return [aside[part == number] for number in np.unique(part)]
