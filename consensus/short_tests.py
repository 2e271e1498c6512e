"""The fewest readings that settle a unit: good or not, and which fault."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from consensus.chart_table import ChartTable, prepared_chart
from consensus.code_results import ShortTest, TestReading
from consensus.contacts import OPEN
from consensus.covering import Cover, smallest_cover
from consensus.errors import ConsensusError
from consensus.results import DesignAgreement
from consensus.settings import Settings
from consensus.unit_grid import grid_of
from consensus.unit_table import table_after_faults

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def short_test(chart: DesignAgreement, settings: Settings | None = None, variant: int = 0) -> ShortTest:
    """Smallest sets of readings at the detents of one variant of a chart.

    lines: tells a good unit from every single fault that is not confined to one place; good: from a contact
    worn in one place too, so it holds every closed place; cause: names the fault, as far as all readings
    together can.  Exact up to 64 places; beyond, `bound` says how much smaller a set might be.
    """
    settings = settings or Settings()
    if not chart.variants:
        raise ConsensusError("no_chart", f"{chart.design} has no chart yet.", "Wait for its first sheets.")
    table = prepared_chart(chart, settings).tables[variant]
    symbols, kinds = fault_symbols(table)
    differs = symbols[1:] != symbols[0]
    worn = np.array([kind == "worn_contact" for kind in kinds[1:]])
    lines = smallest_cover(differs[~worn])
    good = smallest_cover(differs)
    cause = smallest_cover(_told_apart(table, symbols))
    return ShortTest(
        design=chart.design,
        variant=table.variant,
        full=symbols.shape[1],
        lines=_readings(chart, table, lines),
        good=_readings(chart, table, good),
        cause=_readings(chart, table, cause),
        exact=lines.exact and good.exact and cause.exact,
        bounds=(lines.bound, good.bound, cause.bound),
    )


def detent_places(table: ChartTable) -> IntArray:
    """Places at detents, none between them."""
    pairs = len(table.shape.pairs)
    return np.array(
        [place for place in range(table.shape.places) if not table.shape.slots[place // pairs][1]]
    )


def fault_symbols(table: ChartTable) -> tuple[IntArray, list[str]]:
    """(1 + faults, detent places) symbols of a good unit and of each single fault that changes any; kinds.

    A resistive common reads as some odd resistance wherever a contact is.
    """
    grid = grid_of(table.shape)
    places = detent_places(table)
    after = table_after_faults(table)[:, places]
    good = after[0]
    kinds = [fault.kind for fault in grid.faults]
    rows, names = [good], ["none"]
    for at in range(1, len(after)):
        if kinds[at] == "worn_contact" and not ((after[at] == table.worn) & (good != OPEN)).any():
            continue
        if (after[at] != good).any():
            rows.append(after[at])
            names.append(kinds[at])
    if table.shape.common is not None and (good != OPEN).any():
        rows.append(np.where(good != OPEN, table.alphabet.odd, OPEN))
        names.append("resistive_common")
    return np.array(rows), names


def _told_apart(table: ChartTable, symbols: IntArray) -> BoolArray:
    """(pairs of hypotheses, places) True where a reading tells the two apart.

    A worn contact may read open or as any resistance, so neither tells it from a fault that reads so.
    """
    firsts, seconds = np.array(list(combinations(range(len(symbols)), 2))).T
    one, other = symbols[firsts], symbols[seconds]
    differs = one != other
    for a, b in ((one, other), (other, one)):
        differs &= ~((a == table.worn) & ((b == OPEN) | (b == table.alphabet.odd)))
    return np.asarray(differs)


def _readings(chart: DesignAgreement, table: ChartTable, cover: Cover) -> tuple[TestReading, ...]:
    """Places of a cover with what a good unit shows there, in detent order."""
    shape = table.shape
    places = detent_places(table)
    found = []
    for at in cover.chosen:
        slot, pair = divmod(int(places[at]), len(shape.pairs))
        low, high = shape.pairs[pair]
        pin, against = (high, low) if low == shape.common else (low, high)
        symbol = int(table.symbols[places[at]])
        expected = "open" if symbol == OPEN else "closed" if symbol == 1 else "resistive"
        found.append(
            TestReading(chart.positions[shape.slots[slot][0]], chart.pins[pin], chart.pins[against], expected)
        )
    return tuple(found)
