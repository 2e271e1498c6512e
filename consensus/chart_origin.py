"""What a chart brings to the comparison of sheets with the charts of other designs (sheet_origin.py).

No more of a chart is kept than that takes, so that charts made in several processes can be compared in one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, SheetFinding, VariantPattern

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SUSPECT_SHARE = 0.8  # sheets of which fewer readings agree than that are compared, besides unexplained ones
FEWEST_READINGS = 8
MISS, INVENT = 0.06, 0.03  # slips allowed for in the comparison, or the reader's own where they are more


@dataclass(frozen=True)
class Suspect:
    """A sheet worth comparing with other designs.  rates: its reader's missed and invented contacts."""

    sheet: int
    finding: SheetFinding
    rates: tuple[float, float]


@dataclass(frozen=True)
class PlaceTable:
    """One published table.  place: (n,) of the read places (`place_numbers`), ascending; states: (n, 3)
    beliefs of open, closed, resistive; level: (n,) Ω, nan where there is none."""

    variant: str
    place: IntArray
    states: FloatArray
    level: FloatArray


@dataclass(frozen=True)
class ChartOrigin:
    """What a chart brings to the comparison."""

    design: str
    shape: tuple[tuple[str, ...], tuple[str, ...]]  # positions, pins
    tables: tuple[PlaceTable, ...]
    suspects: tuple[Suspect, ...]


def chart_origin(design: DesignReadings, chart: DesignAgreement) -> ChartOrigin:
    """The tables of a chart and those of its sheets that may be of another design."""
    suspects = [
        Suspect(at, finding, reader_rates(chart, design.sheets[at].contributor))
        for at, finding in enumerate(chart.findings)
        if is_suspect(finding)
    ]
    return ChartOrigin(
        design=chart.design,
        shape=(chart.positions, chart.pins),
        tables=tuple(table_of(chart, variant) for variant in chart.variants),
        suspects=tuple(suspects),
    )


def is_suspect(finding: SheetFinding) -> bool:
    """Whether a sheet is worth comparing with other designs."""
    readings, agreeing = finding.params.get("readings", 0), finding.params.get("agreeing", 0)
    if readings < FEWEST_READINGS:
        return False
    return finding.finding == "unexplained" or agreeing < SUSPECT_SHARE * readings


def table_of(chart: DesignAgreement, variant: VariantPattern) -> PlaceTable:
    """Beliefs of the read places of one variant."""
    row = {label: at for at, label in enumerate(chart.positions)}
    column = {label: at for at, label in enumerate(chart.pins)}
    cells = [cell for cell in variant.cells if cell.state is not None]
    grid = [(row[cell.position], cell.between, column[cell.pin], column[cell.against]) for cell in cells]
    at = np.array(grid, dtype=np.int64).reshape(-1, 4)
    place = place_numbers(at[:, 0], at[:, 1], at[:, 2], at[:, 3], len(chart.pins))
    states = np.array([cell.states for cell in cells], dtype=np.float64).reshape(-1, 3)
    level = np.array([np.nan if cell.ohm is None else cell.ohm.typical for cell in cells], dtype=np.float64)
    order = np.argsort(place)
    return PlaceTable(variant.variant, place[order], states[order], level[order])


def place_numbers(
    position: IntArray, between: IntArray, pin: IntArray, against: IntArray, pins: int
) -> IntArray:
    """(n,) one number for each position (or the gap behind it) and unordered pair of pins."""
    low, high = np.minimum(pin, against), np.maximum(pin, against)
    return np.asarray(((position * 2 + between) * pins + low) * pins + high, dtype=np.int64)


def reader_rates(chart: DesignAgreement, contributor: str) -> tuple[float, float]:
    """Missed and invented contacts of a reader of the chart, MISS and INVENT at the least."""
    own = {name: (miss, invent) for name, miss, invent in chart.model.contributors}
    miss, invent = own.get(contributor, (MISS, INVENT))
    return max(miss, MISS), max(invent, INVENT)
