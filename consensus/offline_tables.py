"""A chart as tables from which a suspect can be checked by look-ups and sums alone.

Everything that `explain` (suspect_sheet.py) works out anew for each sheet is worked out here once for every
sheet: which symbol each explanation predicts in each cell, and its prior.  Explanations come from the same
functions that a check calls, laid on a sheet that reads every cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus import start_positions as start
from consensus import unit_explanations as ex
from consensus.chart_table import (
    ChartTable,
    chart_alphabet,
    chart_levels,
    chart_shape,
    chart_table,
    prepared_chart,
)
from consensus.common_faults import LEAST_COMMON_OHM
from consensus.hypotheses import Fault, Mistake, Shape
from consensus.offline_predictions import Predictions, predictions
from consensus.offline_readings import ReadingTables, figures, reader_classes, rounded, worn_shares
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.suspect_sheet import NEGLIGIBLE
from consensus.unit_grid import place_cells

Plain = dict[str, Any]
IntArray = NDArray[np.int64]

MOST_CELLS = 400  # beyond that only the chart's own pairs of pins are tabulated
AWAY = ("harness", "connector")


def offline_tables(
    chart: DesignAgreement, others: Sequence[DesignAgreement], settings: Settings | None = None
) -> Plain:
    """Tables of one published chart; others: further charts, of which those of the same shape are tried."""
    settings = settings or Settings()
    alphabet, levels = chart_alphabet(chart, settings), chart_levels(chart)
    shape = _shape(chart)
    readers = {
        name: ReadingTables(alphabet, chart.model, levels, settings, name) for name in ("bench", "connector")
    }
    blank = readers["bench"].odds(figures(np.full(1, 0.4)))
    tables = [chart_table(chart, one, shape, alphabet, settings) for one in chart.variants]
    starts = start.start_indices(chart.positions, chart.start_positions)
    same = [one for one in others if _same_shape(one, chart)]
    made = [predictions(table, chart, settings) for table in tables]
    variants = [_variant(table, one, starts) for table, one in zip(tables, made, strict=True)]
    shares = dict(settings.suspect_fault_shares)
    return {
        "positions": list(chart.positions),
        "pins": list(chart.pins),
        "slots": [[position, bool(between)] for position, between in shape.slots],
        "named": [list(pair) for pair in shape.named],
        "places": _detent_cells(shape),
        "common": shape.common,
        "symbols": alphabet.size,
        "levels": rounded(alphabet.levels),
        "variants": variants,
        "readings": {name: one.to_plain(_used(variants, alphabet.size)) for name, one in readers.items()},
        "readers": reader_classes(blank),
        "worn": worn_shares(),
        "others": [_other(one, chart, shape, len(same), settings) for one in same],
        "settings": {
            "margin": ex.MARGIN,
            "negligible": NEGLIGIBLE,
            "fault_rate": settings.suspect_fault_rate,
            "log_unknown": float(np.log(settings.suspect_unknown_rate)),
            "log_common": float(np.log(settings.suspect_fault_rate * shares["resistive_common"])),
            "common_cost": settings.suspect_common_cost,
            "least_common": LEAST_COMMON_OHM,
            "miss": blank.miss,
            "invent": blank.invent,
            "sweep_share": settings.sweep_fault_share,
            "harness": settings.harness_fault_rate,
            "connector": settings.connector_fault_rate,
            "closed_below": settings.closed_below_ohm,
            "open_above": settings.open_above_ohm,
            "good_p": settings.verdict_good_p,
            "faulty_p": settings.verdict_faulty_p,
        },
    }


def _shape(chart: DesignAgreement) -> Shape:
    """The chart's grid, all pairs of pins named where that is not too much."""
    pairs = list(combinations(range(len(chart.pins)), 2))
    whole = chart_shape(chart, pairs)
    return whole if whole.cells <= MOST_CELLS else chart_shape(chart, ())


def _detent_cells(shape: Shape) -> list[int]:
    """Cells of the chart's own places at detents: what may be read next."""
    slots = np.arange(shape.places) // len(shape.pairs)
    between = np.array([between for _position, between in shape.slots], dtype=bool)
    cells: list[int] = place_cells(shape)[~between[slots]].tolist()
    return cells


def _same_shape(one: DesignAgreement, chart: DesignAgreement) -> bool:
    mine, theirs = (chart.positions, chart.pins, chart.common), (one.positions, one.pins, one.common)
    return one.design != chart.design and mine == theirs and bool(one.variants)


def _variant(table: ChartTable, made: Predictions, starts: Sequence[int]) -> Plain:
    """Predictions and priors of one variant; faults that change nothing stay only where dangerous."""
    dangers = start.passing_faults(table, starts)
    named = np.isin(np.arange(len(made.faults)), [danger[0] for danger in dangers])
    kept = np.flatnonzero(np.isfinite(made.log_fault) | named)
    new = {int(old): at for at, old in enumerate(kept)}
    flat = made.symbols[kept].reshape(len(kept), -1)
    columns, at = np.unique(flat, axis=1, return_inverse=True)
    pairs = np.stack([made.doubt.ravel(), made.other.ravel()])
    doubts, doubt_at = np.unique(pairs, axis=1, return_inverse=True)
    mistakes = len(made.mistakes)
    return {
        "variant": table.variant,
        "log_share": float(np.log(max(table.share, 1e-3))),
        "faults": [_named(made.faults[old], made.log_fault[old], table.shape.common) for old in kept],
        "mistakes": [
            _named(one, prior, None) for one, prior in zip(made.mistakes, made.log_mistake, strict=True)
        ],
        "lines": max([fault.kind for fault in made.faults].count("line_open"), 1),
        "log_pair": made.log_two,
        "columns": [_text(column) for column in columns.T],
        "at": at.reshape(mistakes, -1).tolist(),
        "doubts": [[float(f"{doubt:.8g}"), int(other)] for doubt, other in doubts.T],
        "doubt_at": doubt_at.reshape(mistakes, -1).tolist(),
        "through": ["".join("01"[int(one)] for one in row) for row in made.through],
        "pairs": _pairs(made, new),
        "dangers": [[new[fault], position, passes] for fault, position, passes in dangers],
    }


def _named(what: Fault | Mistake, log_prior: float, common: int | None) -> Plain:
    return {
        "kind": what.kind,
        "detail": what.detail,
        "pins": [pin for pin in what.pins if pin != common],
        "positions": list(what.positions),
        "log_prior": _finite(log_prior),
    }


def _pairs(made: Predictions, new: dict[int, int]) -> list[list[Any]]:
    """[first, second, log prior, what the second changes of what the first shows: cell, symbol, cell, …]."""
    found = []
    for row, (first, second) in enumerate(zip(made.first, made.second, strict=True)):
        cells = np.flatnonzero(made.pair_symbols[row] != made.symbols[first, 0])
        parts = np.stack([cells, made.pair_symbols[row, cells]], axis=1).ravel().tolist()
        found.append([new[int(first)], new[int(second)], float(f"{made.log_pair[row]:.8g}"), parts])
    return found


def _other(
    one: DesignAgreement, chart: DesignAgreement, shape: Shape, count: int, settings: Settings
) -> Plain:
    """Another design of the same shape: what it shows in each cell, as a good unit read without a mistake."""
    theirs = prepared_chart(one, settings)
    shared = not theirs.levels and not prepared_chart(chart, settings).levels
    tables = []
    for table in theirs.tables:
        place = {
            (slot, pair): at * len(table.shape.pairs) + n
            for at, slot in enumerate(table.shape.slots)
            for n, pair in enumerate(table.shape.pairs)
        }
        rows = []
        for slot in shape.slots:
            for pair in shape.named:
                at = place.get((slot, pair), -1)
                rows.append(
                    [table.unknown, 0, 0.0]
                    if at < 0
                    else [int(table.symbols[at]), int(table.other[at]), float(f"{table.doubt[at]:.8g}")]
                )
        tables.append(rows)
    plain: Plain = {
        "design": one.design,
        "log_prior": float(np.log(settings.suspect_other_design_rate / count)),
        "tables": tables,
        "symbols": theirs.alphabet.size,
        "levels": rounded(theirs.alphabet.levels),
        "readings": None,
    }
    if not shared:
        used = sorted({int(symbol) for rows in tables for row in rows for symbol in row[:2]})
        plain["readings"] = {
            name: ReadingTables(theirs.alphabet, one.model, list(theirs.levels), settings, name).to_plain(
                used
            )
            for name in ("bench", "connector")
        }
    return plain


def _used(variants: list[Plain], size: int) -> list[int]:
    """Symbols that any explanation predicts or that a doubt leads to; unknown and worn always."""
    found = {size, size + 1, 0, 1, size - 1}
    for one in variants:
        found |= {_symbol(char) for column in one["columns"] for char in column}
        found |= {other for _doubt, other in one["doubts"]}
        found |= {symbol for pair in one["pairs"] for symbol in pair[3][1::2]}
    return sorted(found)


LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"


def _text(symbols: IntArray) -> str:
    """One character a symbol; beyond the letters, from U+0100 on."""
    return "".join(LETTERS[one] if one < len(LETTERS) else chr(0x100 + one) for one in symbols.tolist())


def _symbol(char: str) -> int:
    return LETTERS.index(char) if char in LETTERS else ord(char) - 0x100


def _finite(value: float) -> float | None:
    return float(f"{value:.10g}") if np.isfinite(value) else None
