"""What each explanation of a chart's units predicts in every cell, and its prior: the part of the offline
tables that follows the engine's explanations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus import suspect_sheet
from consensus import unit_explanations as ex
from consensus.chart_table import ChartTable
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.unit_priors import unit_priors
from consensus.unit_table import unit_table

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Predictions:
    """F faults, none first, with M mistakes, none first.

    symbols: (F, M, cells); doubt, other: (M, cells) of a good unit, and what it then is; through: (M, cells)
    readings that go through the common; log_fault: (F,), log_mistake: (M,); first, second:
    (P,) plausible pairs of faults on a sheet without a mistake, pair_symbols: (P, cells), log_pair: (P,).
    """

    faults: tuple[Any, ...]
    mistakes: tuple[Any, ...]
    symbols: IntArray
    doubt: FloatArray
    other: IntArray
    through: BoolArray
    log_fault: FloatArray
    log_mistake: FloatArray
    log_two: float
    first: IntArray
    second: IntArray
    pair_symbols: IntArray
    log_pair: FloatArray


def predictions(table: ChartTable, chart: DesignAgreement, settings: Settings) -> Predictions:
    """Of a sheet that reads every cell."""
    unit = unit_table(table)
    priors = unit_priors(unit, suspect_sheet._mistake_shares(chart, settings), settings)
    grid, cells = unit.grid, np.arange(table.shape.cells)
    points = grid.touched[:, cells].astype(np.int64)
    possible = np.flatnonzero(np.isfinite(priors.fault))[1:]
    first, second = ex.plausible_pairs(grid, possible)
    return Predictions(
        faults=grid.faults,
        mistakes=grid.mistakes,
        symbols=unit.symbols[:, points].astype(np.int64),
        doubt=unit.doubt[points],
        other=unit.instead[points],
        through=grid.at_common[points],
        log_fault=priors.fault,
        log_mistake=priors.mistake,
        log_two=priors.pair,
        first=first,
        second=second,
        pair_symbols=unit.shown(points[0], first, second).astype(np.int64),
        log_pair=_log_pair(priors, first, second),
    )


def _log_pair(priors: Any, first: IntArray, second: IntArray) -> FloatArray:
    """Log prior of two faults at once."""
    even = np.log(-np.expm1(priors.fault[0]))  # of all faults together
    return np.asarray(priors.pair + priors.fault[first] + priors.fault[second] - even + np.log(2))
