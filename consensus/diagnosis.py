"""Check a suspect: is the unit good, which fault does it have, or is the trouble in the sheet?

The verdict stands for the unit.  Its probability is the posterior mass of all explanations without a unit
fault (unit_explanations.py), so it follows from the chart's own doubts, spreads and slip rates, not from a
cut-off on the number of cells that differ.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from consensus import start_positions as start
from consensus import unit_explanations as ex
from consensus.causes import explanation_keys, groups_of, is_faulty, name_causes
from consensus.check_results import Cause, NextReading, SheetCheck, UnlikeReading
from consensus.contacts import OPEN, Alphabet
from consensus.errors import ConsensusError
from consensus.next_reading import expected_gains, outcome_table
from consensus.reading_odds import wanders_out
from consensus.readings import DesignReadings, Kind
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.suspect_sheet import Explained, explain

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

MOST_NEXT = 5
ENOUGH = 150  # explanations looked at for the next reading: the rest weighs nothing
NEAR_LEVEL = 0.06  # levels nearer than this share of each other are alike to the eye
SHIFTS = ("shifted_positions", "detent_shift")


def check_sheet(
    sheet: DesignReadings,
    chart: DesignAgreement,
    others: Sequence[DesignAgreement] = (),
    settings: Settings | None = None,
) -> SheetCheck:
    """Verdict, causes and next readings for one unit.

    sheet: exactly one sheet, in its own numbering of pins and positions (matched by label); chart: what the
    design agreed on; others: further charts, of which those of the same shape are tried as "other design".
    """
    settings = settings or Settings()
    if len(sheet.sheets) != 1:
        raise ConsensusError(
            "one_sheet", f"A check takes one sheet, {len(sheet.sheets)} were given.", "Check them one by one."
        )
    name = sheet.sheets[0].name
    if not chart.variants:
        return SheetCheck(name, chart.design, None, "undecided", 0.5, reason="no_chart")
    explained = explain(sheet, chart, others, settings)
    faulty = is_faulty(explained)
    p_faulty = float(explained.p[faulty].sum())
    p_good = float(explained.p[~faulty].sum()) + sum(share for _, share in explained.others)
    p_good += explained.p_unknown * (1 - settings.suspect_fault_rate)
    starts = start.start_indices(chart.positions, chart.start_positions or _labels(sheet))
    open_dangers = _open_dangers(explained, starts)
    verdict, reason = _verdict(explained, p_good, p_faulty, bool(open_dangers), settings)
    causes = name_causes(explained, chart)
    unlike, agreeing = _unlike(explained, chart, settings)
    causes = _with_slip(causes, explained, unlike, p_good)
    return SheetCheck(
        submission=name,
        design=chart.design,
        variant=explained.tables[explained.variant[0]].variant if len(explained.p) else None,
        verdict=verdict,
        p_good=min(max(p_good, 0.0), 1.0),
        causes=causes,
        next=_next_readings(explained, chart, faulty, open_dangers),
        unlike=unlike,
        reason=reason,
        not_excluded=tuple(_danger_plain(explained, chart, danger) for danger in open_dangers),
        p_unknown=explained.p_unknown,
        compared=len(explained.laid.cells),
        agreeing=agreeing,
    )


def _labels(sheet: DesignReadings) -> tuple[str, ...] | None:
    if sheet.start_positions is None:
        return None
    return tuple(sheet.positions[at] for at in sheet.start_positions)


def _verdict(
    explained: Explained, p_good: float, p_faulty: float, dangers: bool, settings: Settings
) -> tuple[str, str]:
    """Verdict and, where it is undecided, why."""
    if not len(explained.laid.cells):
        return "undecided", "no_readings"
    if _shift_untold(explained):
        return "undecided", "shift"
    if p_good >= settings.verdict_good_p:
        return ("undecided", "start_position") if dangers else ("good", "")
    if 1 - p_good >= 1 - settings.verdict_faulty_p and p_faulty > 0.5:
        return "faulty", ""
    return "undecided", "evidence"


def _shift_untold(explained: Explained) -> bool:
    """Whether a shifted sheet and a shifted detent, which predict the same, carry most of the probability."""
    groups = groups_of(explained)
    if not len(groups):
        return False
    alike = np.flatnonzero(groups == groups[0])
    kinds = [[key[0] for key, _ in explanation_keys(explained, int(at))] for at in alike]
    told = [at for at, names in zip(alike, kinds, strict=True) if names in ([SHIFTS[0]], [SHIFTS[1]])]
    return len({kinds[list(alike).index(at)][0] for at in told}) == 2 and float(explained.p[told].sum()) > 0.5


def _open_dangers(explained: Explained, starts: Sequence[int]) -> list[tuple[int, int, int]]:
    """Faults that could pass for a start position and that no reading taken would have shown."""
    if not len(explained.p) or not starts:
        return []
    table = explained.tables[explained.variant[0]]
    dangers = start.passing_faults(table, starts)
    grid = ex.grid_of(table.shape)
    symbols = table.shown(grid.operands, table.symbols)
    predicted = symbols[grid.source[:, explained.mistake[0], explained.laid.cells]]
    shown = (predicted != predicted[0]).any(axis=1)
    return [danger for danger in dangers if not shown[danger[0]]]


def _danger_plain(
    explained: Explained, chart: DesignAgreement, danger: tuple[int, int, int]
) -> dict[str, object]:
    fault, position, passes_for = danger
    what = ex.grid_of(explained.laid.shape).faults[fault]
    pins = [chart.pins[pin] for pin in what.pins if pin != explained.laid.shape.common]
    return {
        "cause": what.kind,
        "pins": pins,
        "position": chart.positions[position],
        "passes_for": chart.positions[passes_for],
    }


def _unlike(
    explained: Explained, chart: DesignAgreement, settings: Settings
) -> tuple[tuple[UnlikeReading, ...], int]:
    """Readings that a good unit would not show, under the likeliest mistake; and how many agree."""
    if not len(explained.p):
        return (), 0
    table = explained.tables[explained.variant[0]]
    grid = ex.grid_of(table.shape)
    cells = explained.laid.cells
    expected = table.shown(grid.operands, table.symbols)[grid.source[0, explained.mistake[0], cells]]
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
    apart[np.arange(size), np.arange(size)] = False
    near = np.abs(np.log(alphabet.levels[:, None] / alphabet.levels[None, :])) < NEAR_LEVEL
    apart[2 : alphabet.odd, 2 : alphabet.odd] = ~near
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


def _with_slip(
    causes: tuple[Cause, ...], explained: Explained, unlike: Sequence[UnlikeReading], p_good: float
) -> tuple[Cause, ...]:
    """Name the slips that a good unit's sheet must hold, where a good unit is the likeliest."""
    if not unlike or not len(explained.p) or is_faulty(explained)[0]:
        return causes
    at = 0
    slip = Cause(
        "slip",
        tuple(dict.fromkeys(reading.pin for reading in unlike)),
        tuple(dict.fromkeys(reading.position for reading in unlike)),
        float(explained.p[~is_faulty(explained) & (groups_of(explained) == groups_of(explained)[at])].sum()),
        int(groups_of(explained)[at]),
        {"of": "sheet", "readings": len(unlike)},
    )
    return tuple(sorted([*causes, slip], key=lambda cause: -cause.p))


def _next_readings(
    explained: Explained,
    chart: DesignAgreement,
    faulty: NDArray[np.bool_],
    dangers: list[tuple[int, int, int]],
) -> tuple[NextReading, ...]:
    """Readings not yet taken, and those worth repeating, that tell most; dangers first."""
    if not len(explained.p):
        return ()
    kept = slice(0, ENOUGH)
    shape = explained.laid.shape
    detents = np.array([not shape.slots[p // len(shape.pairs)][1] for p in range(shape.places)])
    cells = ex.place_cells(shape)[detents]
    symbols = predict_cells(explained, cells, kept)
    p = explained.p[kept]
    outcomes = outcome_table(explained.tables[0].alphabet, explained.odds.miss, explained.odds.invent)
    verdict_bits = expected_gains(symbols, p, faulty[kept].astype(np.int64), outcomes)
    cause_bits = expected_gains(symbols, p, _cause_classes(explained, kept), outcomes)
    taken = np.isin(cells, explained.laid.cells)
    excludes = np.zeros(len(cells), dtype=np.int64)
    if dangers:
        table = explained.tables[explained.variant[0]]
        faults = sorted({fault for fault, _, _ in dangers})
        excludes = start.excluding_cells(table, faults)[:, detents].sum(axis=0)
    excludes[taken] = 0
    order = sorted(range(len(cells)), key=lambda c: (-excludes[c], -verdict_bits[c] - 0.2 * cause_bits[c]))
    order = sorted(order[:MOST_NEXT], key=lambda c: (-excludes[c], -verdict_bits[c]))
    return tuple(
        _next_reading(
            chart, explained, int(cells[c]), verdict_bits[c], cause_bits[c], bool(taken[c]), excludes[c]
        )
        for c in order
        if verdict_bits[c] > 1e-4 or cause_bits[c] > 1e-3 or excludes[c]
    )


def _next_reading(
    chart: DesignAgreement,
    explained: Explained,
    cell: int,
    bits: float,
    bits_cause: float,
    repeat: bool,
    excludes: int,
) -> NextReading:
    shape = explained.laid.shape
    slot, named = divmod(cell, len(shape.named))
    low, high = shape.named[named]
    pin, against = (high, low) if low == shape.common else (low, high)
    position = chart.positions[shape.slots[slot][0]]
    return NextReading(
        position, chart.pins[pin], chart.pins[against], float(bits), float(bits_cause), repeat, int(excludes)
    )


def _cause_classes(explained: Explained, kept: slice) -> IntArray:
    """Class of each explanation: the set of its causes."""
    seen: dict[tuple[object, ...], int] = {}
    count = len(explained.p[kept])
    keys = [tuple(key for key, _ in explanation_keys(explained, at)) for at in range(count)]
    return np.array([seen.setdefault(key, len(seen)) for key in keys], dtype=np.int64)


def predict_cells(explained: Explained, cells: IntArray, kept: slice) -> IntArray:
    """(H, C) symbols that the kept explanations predict for cells of a sheet written by the same reader."""
    out = np.zeros((len(explained.p[kept]), len(cells)), dtype=np.int64)
    for variant, table in enumerate(explained.tables):
        rows = np.flatnonzero(explained.variant[kept] == variant)
        if not len(rows):
            continue
        grid = ex.grid_of(table.shape)
        mistake, first, second = (
            getattr(explained, name)[kept][rows] for name in ("mistake", "first", "second")
        )
        symbols = table.shown(grid.operands, table.symbols)
        out[rows] = symbols[grid.source[first, mistake][:, cells]]
        paired = second > 0
        if paired.any():
            after = ex.table_after_faults(table)[first[paired]]
            symbols_after = table.shown(grid.as_read_operands, after)
            sources = grid.as_read[second[paired]][:, cells]
            out[rows[paired]] = np.take_along_axis(symbols_after, sources.astype(np.int64), axis=1)
        contact = (out[rows] != OPEN) & (out[rows] < table.unknown)
        common = explained.common[kept][rows][:, None]
        out[rows] = np.where(common & contact, table.alphabet.odd, out[rows])
    return out
