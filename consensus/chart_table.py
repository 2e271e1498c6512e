"""A published chart as the arrays that a check works on: what each place should show, and how sure that is.

Symbols are those of contacts.py (open, closed, resistive levels, odd); two more stand for what a chart can't
say (`unknown`) and for a worn contact (`worn`).
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations_with_replacement
from typing import Any

import numpy as np
from numpy.typing import NDArray

from consensus import contacts
from consensus.contacts import CLOSED, OPEN, Alphabet
from consensus.results import DesignAgreement, VariantPattern
from consensus.settings import Settings
from consensus.shape import CONSTANTS, Pair, Shape

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
SAME_LEVEL = 0.01  # levels nearer than this share of each other are one
MOST_LEVELS = 24  # more than that: sums and parallels of levels are read as "odd"


@dataclass(frozen=True)
class ChartTable:
    """One variant.  symbols, doubt, other: (places,) likeliest symbol of each place, probability that it is
    not that one, and the symbol that it then most likely is; place = slot * len(shape.pairs) + pair; kept:
    what was worked out of the table already (unit_table.py)."""

    variant: str
    share: float
    shape: Shape
    alphabet: Alphabet
    symbols: IntArray
    doubt: FloatArray
    other: IntArray
    kept: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def unknown(self) -> int:
        return self.alphabet.size

    @property
    def worn(self) -> int:
        return self.alphabet.size + 1

    def values(self, symbols: IntArray) -> IntArray:
        """(…, sources) symbols of the constants and of the places (…, places), numbered as operands are."""
        constants = np.array([OPEN, CLOSED, self.unknown, self.worn])
        lead = np.broadcast_to(constants, (*symbols.shape[:-1], CONSTANTS))
        return np.concatenate([lead, symbols], axis=-1)

    def combined(self, values: IntArray, operands: NDArray[np.int32]) -> IntArray:
        """(k,) symbols that operands (k, 4) show where sources have these values; see hypotheses.py."""
        return self.combined_rows(values[None], np.zeros(len(operands), dtype=np.int64), operands)

    def combined_rows(self, values: IntArray, row: IntArray, operands: NDArray[np.int32]) -> IntArray:
        """The same, of several tables: values (tables, sources), row: (k,) the table of each."""
        series, parallel = self._combined
        x1, x2, x3, x4 = (values[row, operands[:, at]] for at in range(4))
        return np.asarray(series[parallel[x1, x2], parallel[x3, x4]])

    @cached_property
    def _combined(self) -> tuple[IntArray, IntArray]:
        """Series and parallel of two symbols, unknown and worn included."""
        size = self.alphabet.size
        series, parallel = np.full((2, size + 2, size + 2), self.unknown)
        series[:size, :size], parallel[:size, :size] = self.alphabet.series, self.alphabet.parallel
        for extra in (self.unknown, self.worn):
            series[extra, OPEN] = series[OPEN, extra] = OPEN
            series[extra, CLOSED] = series[CLOSED, extra] = extra
            parallel[extra, CLOSED] = parallel[CLOSED, extra] = CLOSED
            parallel[extra, OPEN] = parallel[OPEN, extra] = extra
        return series, parallel


@dataclass(frozen=True)
class Prepared:
    """A chart as arrays: its levels, the symbols of a sheet on it, a table for each variant."""

    levels: tuple[float, ...]
    alphabet: Alphabet
    tables: tuple[ChartTable, ...]


Key = tuple[int, tuple[Pair, ...] | None]  # id of a chart, pairs that a sheet names
_KEPT: dict[Key, tuple[weakref.ref[DesignAgreement], Settings, Prepared]] = {}
_KEPT_NAMED: dict[Key, tuple[weakref.ref[DesignAgreement], Settings, Prepared]] = {}
MOST_PREPARED = 5000  # charts by themselves: some kB each
MOST_NAMED = 256  # charts for sheets: with all that unit_table.py works out of them, some 100 kB each


def kept_prepared(
    chart: DesignAgreement, settings: Settings, named: tuple[Pair, ...] | None, make: Callable[[], Prepared]
) -> Prepared:
    """What `make` works out of a chart, kept while the chart object lives and is among the last ones used: a
    file of sheets meets the same charts.  named: pairs that the sheet reads besides the chart's own, None
    for the chart by itself."""
    kept, most = (_KEPT, MOST_PREPARED) if named is None else (_KEPT_NAMED, MOST_NAMED)
    key = (id(chart), named)
    held = kept.pop(key, None)
    if held is None or held[0]() is not chart or held[1] != settings:
        held = (weakref.ref(chart, lambda _: kept.pop(key, None)), settings, make())
    kept[key] = held  # the last one used stands last
    for oldest in list(kept)[: len(kept) - most] if len(kept) > most else ():
        kept.pop(oldest, None)
    return held[2]


def prepared_chart(chart: DesignAgreement, settings: Settings) -> Prepared:
    """Arrays of a chart by itself."""

    def make() -> Prepared:
        levels = chart_levels(chart)
        alphabet = contacts.make_alphabet(np.array(levels, dtype=np.float64), settings)
        return _prepared(chart, (), levels, alphabet, settings)

    return kept_prepared(chart, settings, None, make)


def prepared_for(chart: DesignAgreement, named: Sequence[Pair], settings: Settings) -> Prepared:
    """Arrays of a chart for a sheet that reads `named` pairs too, two contacts in series and in parallel
    among its symbols."""

    def make() -> Prepared:
        return _prepared(chart, named, chart_levels(chart), chart_alphabet(chart, settings), settings)

    return kept_prepared(chart, settings, tuple(named), make)


def _prepared(
    chart: DesignAgreement, named: Sequence[Pair], levels: list[float], alphabet: Alphabet, settings: Settings
) -> Prepared:
    shape = chart_shape(chart, named)
    tables = tuple(chart_table(chart, variant, shape, alphabet, settings) for variant in chart.variants)
    return Prepared(tuple(levels), alphabet, tables)


def chart_shape(chart: DesignAgreement, named: Sequence[Pair]) -> Shape:
    """The grid of a chart, `named` (pin index pairs, low first) being read besides its own pairs."""
    pin_at = {pin: at for at, pin in enumerate(chart.pins)}
    position_at = {label: at for at, label in enumerate(chart.positions)}
    cells = [cell for variant in chart.variants for cell in variant.cells]
    common = None if chart.common is None else pin_at[chart.common]
    pairs = {_ordered(pin_at[cell.pin], pin_at[cell.against]) for cell in cells}
    if common is not None:
        pairs |= {_ordered(pin, common) for pin in range(len(chart.pins)) if pin != common}
    gaps = {position_at[cell.position] for cell in cells if cell.between}
    slots = sorted([(at, False) for at in range(len(chart.positions))] + [(at, True) for at in gaps])
    return Shape(
        positions=len(chart.positions),
        pins=len(chart.pins),
        common=common,
        slots=tuple(slots),
        pairs=tuple(sorted(pairs)),
        named=tuple(sorted(pairs | set(named))),
    )


def _ordered(a: int, b: int) -> Pair:
    return (a, b) if a < b else (b, a)


def chart_levels(chart: DesignAgreement) -> list[float]:
    """Resistive levels of a chart's places, Ω, ascending."""
    cells = [cell for variant in chart.variants for cell in variant.cells]
    figures = [level for cell in cells for level, p in cell.levels if p > 0.01]
    figures += [figure for cell in cells for figure in _resistive_figure(cell.state, cell.ohm)]
    return _apart(sorted(figures))


def chart_alphabet(chart: DesignAgreement, settings: Settings) -> Alphabet:
    """Symbols that places of a chart can show, two of them in series or in parallel included."""
    levels = chart_levels(chart)
    if 0 < len(levels) <= MOST_LEVELS:
        pairs = list(combinations_with_replacement(levels, 2))
        made = [a + b for a, b in pairs] + [a * b / (a + b) for a, b in pairs]
        kept = [ohm for ohm in made if settings.closed_below_ohm < ohm < settings.open_above_ohm]
        levels = _apart(sorted(kept), levels)
    return contacts.make_alphabet(np.array(levels, dtype=np.float64), settings)


def _resistive_figure(state: str | None, ohm: object) -> list[float]:
    typical = getattr(ohm, "typical", None)
    return [float(typical)] if state == "resistive" and typical is not None else []


def _apart(figures: Sequence[float], fixed: Sequence[float] = ()) -> list[float]:
    """Ascending figures, none within SAME_LEVEL of another; the fixed ones are all in."""
    kept = list(fixed)
    for figure in figures:
        if all(abs(figure - other) > SAME_LEVEL * other for other in kept):
            kept.append(figure)
    return sorted(kept)


def chart_table(
    chart: DesignAgreement, variant: VariantPattern, shape: Shape, alphabet: Alphabet, settings: Settings
) -> ChartTable:
    """The arrays of one variant on a grid; places that nobody read are in doubt by a half."""
    pin_at = {pin: at for at, pin in enumerate(chart.pins)}
    slot_at = {slot: at for at, slot in enumerate(shape.slots)}
    pair_at = {pair: at for at, pair in enumerate(shape.pairs)}
    position_at = {label: at for at, label in enumerate(chart.positions)}
    symbols = np.full(shape.places, OPEN, dtype=np.int64)
    other = np.full(shape.places, CLOSED, dtype=np.int64)
    doubt = np.full(shape.places, 0.5)
    for cell in variant.cells:
        slot = slot_at[position_at[cell.position], cell.between]
        place = slot * len(shape.pairs) + pair_at[_ordered(pin_at[cell.pin], pin_at[cell.against])]
        if cell.state is None:
            continue
        weights = _symbol_weights(cell.states, cell.levels, _resistive_figure(cell.state, cell.ohm), alphabet)
        order = sorted(weights, key=lambda symbol: -weights[symbol])
        symbols[place] = order[0]
        doubt[place] = max(0.0, 1.0 - weights[order[0]]) + settings.unit_deviation
        other[place] = order[1] if len(order) > 1 and weights[order[1]] > 0 else _opposite(order[0])
    return ChartTable(variant.variant, variant.share, shape, alphabet, symbols, np.minimum(doubt, 0.5), other)


def _opposite(symbol: int) -> int:
    return CLOSED if symbol == OPEN else OPEN


def _symbol_weights(
    states: tuple[float, float, float],
    levels: Sequence[tuple[float, float]],
    figure: Sequence[float],
    alphabet: Alphabet,
) -> dict[int, float]:
    """Posterior of a cell over symbols."""
    weights = {OPEN: states[0], CLOSED: states[1]}
    parts = list(levels) or [(ohm, states[2]) for ohm in figure]
    for ohm, p in parts:
        symbol = alphabet.odd
        if len(alphabet.levels):
            symbol = 2 + int(np.abs(np.log(alphabet.levels / ohm)).argmin())
        weights[symbol] = weights.get(symbol, 0.0) + p
    left = states[2] - sum(p for _, p in parts)
    weights[alphabet.odd] = weights.get(alphabet.odd, 0.0) + max(left, 0.0)
    return weights
