"""What each explanation of a chart's units predicts in every cell, and its prior: the part of the offline
tables that follows the engine's explanations."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus import suspect_sheet
from consensus import unit_explanations as ex
from consensus.chart_table import ChartTable
from consensus.offline_readings import figures
from consensus.reading_odds import ReadingOdds
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.unit_grid import grid_of

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Predictions:
    """F faults, none first, with M mistakes, none first.

    symbols: (F, M, cells); doubt, other: (M, cells) of a good unit, and what it then is; through: (M, cells)
    readings that go through the common, None: all do; log_fault: (F,), log_mistake: (M,); first, second:
    (P,) plausible pairs of faults on a sheet without a mistake, pair_symbols: (P, cells), log_pair: (P,).
    """

    faults: tuple[Any, ...]
    mistakes: tuple[Any, ...]
    symbols: IntArray
    doubt: FloatArray
    other: IntArray
    through: BoolArray | None
    log_fault: FloatArray
    log_mistake: FloatArray
    log_two: float
    first: IntArray
    second: IntArray
    pair_symbols: IntArray
    log_pair: FloatArray


def predictions(
    table: ChartTable, chart: DesignAgreement, blank: ReadingOdds, settings: Settings
) -> Predictions:
    """blank: odds of a sheet that reads every cell; no likelihood of theirs is used."""
    shares = suspect_sheet._mistake_shares(chart, settings)
    cells = np.arange(table.shape.cells)
    if find_spec("consensus.unit_table") is not None:
        return _by_points(table, shares, cells, settings)
    grid: Any = grid_of(table.shape)
    priors = import_module("consensus.unit_grid").unit_priors(table, shares, settings)
    make: Any = import_module("consensus.sheet_likelihood").SheetLikelihood
    sheet = make(table, cells, blank, settings)
    pairs: Any = ex
    block = pairs.fault_pairs(sheet, priors, 0, 0.0, blank, np.zeros(len(priors.fault)))
    return Predictions(
        faults=grid.faults,
        mistakes=grid.mistakes,
        symbols=sheet.symbols[grid.source],
        doubt=sheet.doubt,
        other=sheet.other,
        through=None,
        log_fault=priors.fault,
        log_mistake=priors.mistake,
        log_two=priors.pair,
        first=block.first,
        second=block.second,
        pair_symbols=block.symbols,
        log_pair=_log_pair(priors, block.first, block.second),
    )


def _by_points(
    table: ChartTable, shares: dict[str, float], cells: IntArray, settings: Settings
) -> Predictions:
    unit = import_module("consensus.unit_table").unit_table(table)
    priors = import_module("consensus.unit_priors").unit_priors(unit, shares, settings)
    grid = unit.grid
    points = grid.touched[:, cells].astype(np.int64)
    possible = np.flatnonzero(np.isfinite(priors.fault))[1:]
    at, other = np.triu_indices(len(possible), 1)
    first, second = possible[at], possible[other]
    told = [ex._plausible(grid.faults[f], grid.faults[s]) for f, s in zip(first, second, strict=True)]
    first, second = first[np.array(told, bool)], second[np.array(told, bool)]
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
        pair_symbols=unit.shown(points[0], first, second),
        log_pair=_log_pair(priors, first, second),
    )


def _log_pair(priors: Any, first: IntArray, second: IntArray) -> FloatArray:
    """Log prior of two faults at once."""
    even = np.log(-np.expm1(priors.fault[0]))  # of all faults together
    return np.asarray(priors.pair + priors.fault[first] + priors.fault[second] - even + np.log(2))


def least_common_ohm() -> float:
    """Where the engine begins to take a common for resistive."""
    for name in ("consensus.common_faults", "consensus.suspect_sheet"):
        if find_spec(name) is not None and hasattr(import_module(name), "LEAST_COMMON_OHM"):
            return float(import_module(name).LEAST_COMMON_OHM)
    raise AttributeError("LEAST_COMMON_OHM")


def blank_readings(cells: int) -> Any:
    """One reading of every cell."""
    return figures(np.full(cells, 0.4))
