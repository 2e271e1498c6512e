"""Readings that a good unit would not show, in words that a person can check."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.check_results import UnlikeReading
from consensus.contacts import OPEN, Alphabet, alike_symbols
from consensus.reading_odds import wanders_out
from consensus.readings import Kind
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.suspect_sheet import Explained


def unlike_readings(
    explained: Explained, chart: DesignAgreement, settings: Settings
) -> tuple[tuple[UnlikeReading, ...], int]:
    """Readings that a good unit would not show, under the likeliest mistake; and how many agree."""
    if not len(explained.p):
        return (), 0
    unit = explained.units[explained.variant[0]]
    table, cells = unit.table, explained.laid.cells
    expected = unit.symbols[0, unit.grid.touched[explained.mistake[0], cells]].astype(np.int64)
    rows = np.arange(len(cells))
    odds = explained.odds.likelihood
    # unlike: some symbol at another resistance explains the figure far better than the expected one
    other = apart_symbols(table.alphabet)[expected]
    best = np.where(other, odds[:, : table.alphabet.size], 0.0).max(axis=1)
    readings = explained.laid.readings
    apart = (odds[rows, expected] < 0.1 * best) | (wanders_out(readings, settings) & (expected != OPEN))
    apart &= expected != table.unknown
    found = []
    for at in np.flatnonzero(apart):
        found.append(
            UnlikeReading(
                position=chart.positions[readings.position[at]],
                pin=chart.pins[readings.pin[at]],
                against=chart.pins[readings.against[at]],
                expected=_state_word(int(expected[at]), table.alphabet.odd),
                read=_read_word(explained, int(at)),
                sweep=int(readings.sweep[at]),
                between=bool(readings.between[at]),
            )
        )
    return tuple(found), len(cells) - len(found)


def apart_symbols(alphabet: Alphabet) -> NDArray[np.bool_]:
    """(A + 2, A) True where two symbols are not one resistance to a meter: near levels are."""
    size = alphabet.size
    apart = np.ones((size + 2, size), dtype=bool)
    apart[:size] = ~alike_symbols(alphabet)
    return apart


def _state_word(symbol: int, odd: int) -> str:
    return (
        "open" if symbol == OPEN else "closed" if symbol == 1 else "resistive" if symbol <= odd else "unknown"
    )


def _read_word(explained: Explained, at: int) -> str:
    """The reading as a meter shows it, Ω."""
    readings = explained.laid.readings
    kind = readings.kind[at]
    if kind == Kind.OVER_LIMIT:
        return "OL"
    if kind == Kind.CONTINUITY:
        return "cont"
    low, high = f"{readings.low[at]:g}", f"{readings.high[at]:g}"
    return low if low == high else f"{low}…{high}"
