"""Cells of the chart: state, standing, independent units, resistance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from consensus.contact_values import Telling, likeliest_symbols, meter_limits, telling_entries
from consensus.contacts import CLOSED, OPEN, Alphabet, consistent_symbols
from consensus.encoding import Encoded
from consensus.explanation import Explanation
from consensus.findings import reading_cell
from consensus.leakage import leak_figures
from consensus.resistance import cell_figures
from consensus.results import CellAgreement, LeakFigures, OhmFigures
from consensus.robust import z_limits
from consensus.settings import Settings
from consensus.sheet_findings import UnusualFigure
from consensus.unusual_figures import z_scores

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STATES = ("open", "closed", "resistive")
LIKELY_LEVEL = 1e-4


def standing(units: int, contributors: int, best: float, disputed: bool, settings: Settings) -> str:
    """Standing of a cell (model.md, "Standing of a cell").

    >>> standing(4, 4, 0.9999, False, Settings()), standing(5, 3, 0.9999, False, Settings())
    ('provisional', 'agreed')
    >>> standing(3, 3, 0.9, False, Settings()), standing(0, 0, 0.5, True, Settings())
    ('disputed', 'unread')
    """
    if units == 0:
        return "unread"
    if disputed or (units >= settings.disputed_units and best <= settings.provisional_p):
        return "disputed"
    enough = units >= settings.agreed_units and contributors >= settings.agreed_contributors
    if enough and best >= settings.agreed_p:
        return "agreed"
    if units >= settings.provisional_units and best >= settings.provisional_p:
        return "provisional"
    return "thin"


def three_states(belief: FloatArray) -> FloatArray:
    """(…, A) belief over symbols as (…, 3) over open, closed, resistive."""
    return np.stack([belief[..., OPEN], belief[..., CLOSED], belief[..., 2:].sum(axis=-1)], axis=-1)


def symbol_states(alphabet: Alphabet) -> IntArray:
    """(A,) state index of each symbol."""
    return np.minimum(np.arange(alphabet.size), 2)


def _distinct(place: IntArray, who: IntArray, places: int, people: int) -> IntArray:
    """(places,) number of different `who` at each place."""
    seen = np.zeros((places, people), dtype=bool)
    seen[place, who] = True
    return np.asarray(seen.sum(axis=1), dtype=np.int64)


def agree_cells(
    encoded: Encoded,
    explained: Explanation,
    sheets: IntArray,
    table: int,
    belief: FloatArray,
    settings: Settings,
) -> tuple[tuple[CellAgreement, ...], dict[int, tuple[UnusualFigure, ...]]]:
    """Cells of one table, and by sheet the figures beyond what these typically show.

    belief: (Q, A); sheets: (N,) sheet of `encoded` of each explained sheet.
    """
    places = encoded.shape.places
    here = explained.evidence & (explained.place >= 0) & (explained.table[explained.sheet] == table)
    sheet, row, place = sheets[explained.sheet[here]], explained.row[here], explained.place[here]
    state = three_states(belief).argmax(axis=1)
    shows = consistent_symbols(encoded.alphabet)[explained.code[here]]
    by_state = np.stack([shows[:, 0], shows[:, 1], shows[:, 2:].any(axis=1)], axis=1)
    agrees = by_state[np.arange(len(row)), state[place]]
    # sweeps that show one state as often as another agree with neither
    agrees &= ~(encoded.torn[row] & (explained.code[here] > encoded.alphabet.odd_code))
    unit = encoded.unit[sheet]
    units = _distinct(place, unit, places, encoded.units)
    agreeing = _distinct(place[agrees], unit[agrees], places, encoded.units)
    contributors = _distinct(place, encoded.contributor[sheet], places, len(encoded.contributor_names))
    symbol = likeliest_symbols(belief)
    told = telling_entries(encoded, explained, here, symbol)
    ohms = _figures(encoded, explained, sheets, told, symbol, settings)
    leaks = _leaks(encoded, explained, sheets, told)
    cells = _cells(encoded, belief, units, agreeing, contributors, ohms, leaks, settings)
    return cells, _unusual(encoded, explained, sheets, told, ohms, symbol, settings)


def _figures(
    encoded: Encoded,
    explained: Explanation,
    sheets: IntArray,
    told: Telling,
    symbol: IntArray,
    settings: Settings,
) -> list[OhmFigures | None]:
    """Resistance of each place from readings that show its contact with a figure."""
    at = told.contact
    return cell_figures(
        explained.place[at],
        encoded.unit[sheets[explained.sheet[at]]],
        encoded.ohm[explained.row[at]],
        symbol == CLOSED,
        settings,
        loose=symbol == encoded.alphabet.odd,
    )


def _leaks(
    encoded: Encoded, explained: Explanation, sheets: IntArray, told: Telling
) -> list[LeakFigures | None]:
    """Leakage of each open place."""
    at = told.opened
    row = explained.row[at]
    return leak_figures(
        explained.place[at],
        encoded.unit[sheets[explained.sheet[at]]],
        encoded.ohm[row],
        meter_limits(encoded)[row],
        encoded.shape.places,
    )


def _unusual(
    encoded: Encoded,
    explained: Explanation,
    sheets: IntArray,
    told: Telling,
    ohms: list[OhmFigures | None],
    symbol: IntArray,
    settings: Settings,
) -> dict[int, tuple[UnusualFigure, ...]]:
    """By sheet of `encoded`, its figures beyond the typical."""
    row = explained.row[told.contact]
    z = z_scores(explained.place[told.contact], encoded.ohm[row], ohms, symbol == CLOSED, settings)
    words = z_limits(z)
    found: dict[int, list[UnusualFigure]] = {}
    for at in np.flatnonzero(words != "acceptable"):
        figure = UnusualFigure(reading_cell(encoded, int(row[at])), float(z[at]), str(words[at]))
        found.setdefault(int(sheets[explained.sheet[told.contact[at]]]), []).append(figure)
    return {sheet: tuple(figures) for sheet, figures in found.items()}


def _cells(
    encoded: Encoded,
    belief: FloatArray,
    units: IntArray,
    agreeing: IntArray,
    contributors: IntArray,
    ohms: list[OhmFigures | None],
    leaks: list[LeakFigures | None],
    settings: Settings,
) -> tuple[CellAgreement, ...]:
    shape, design = encoded.shape, encoded.readings
    states = three_states(belief)
    levels = encoded.alphabet.levels
    cells = []
    for slot, (position, between) in enumerate(shape.slots):
        for column, (low, high) in enumerate(shape.pairs):
            at = slot * len(shape.pairs) + column
            read = int(units[at])
            on_common = shape.common in (low, high)
            if not read and (between or not on_common) and shape.common is not None:
                continue  # a chart shows its lines against the common, and what else was read
            pin, against = (high, low) if low == shape.common else (low, high)
            best = int(states[at].argmax())
            disputed = (position, between, low, high) in design.disputed
            share = (0.5, 0.25, 0.25) if not read else tuple(float(p) for p in states[at])
            cells.append(
                CellAgreement(
                    position=design.positions[position],
                    pin=design.pins[pin],
                    against=design.pins[against],
                    between=between,
                    state=STATES[best] if read else None,
                    states=(share[0], share[1], share[2]),
                    standing=standing(
                        read, int(contributors[at]), float(states[at, best]), disputed, settings
                    ),
                    units=read,
                    agreeing=int(agreeing[at]),
                    contributors=int(contributors[at]),
                    ohm=ohms[at] if read and best > 0 else None,
                    leak=leaks[at] if read and best == 0 else None,
                    levels=_likely_levels(belief[at], levels)
                    if read and states[at, 2] > LIKELY_LEVEL
                    else (),
                )
            )
    return tuple(cells)


def _likely_levels(belief: FloatArray, levels: FloatArray) -> tuple[tuple[float, float], ...]:
    """Levels of at least 1e-4, as (Ω, probability)."""
    likely = np.flatnonzero(belief[2:-1] >= LIKELY_LEVEL)
    return tuple((float(levels[at]), float(belief[2 + at])) for at in likely)
