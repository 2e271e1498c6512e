"""Sheets that fit another design better than their own: the unit, or the label, was another one.

Compared are designs of the same shape only (positions and pins by label), by the sheet's readings as read
under the published tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from consensus.contacts import contact_ohms
from consensus.problem import mistakes_told
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement, SheetFinding, VariantPattern
from consensus.settings import Settings

FloatArray = NDArray[np.float64]
Place = tuple[str, bool, frozenset[str]]

SUSPECT_SHARE = 0.8  # sheets of which fewer readings agree than that are compared, besides unexplained ones
FEWEST_READINGS = 8
SAME_LEVEL = 0.1  # share by which a figure may differ from the level of another chart
MISS, INVENT = 0.06, 0.03  # slips allowed for in the comparison, or the reader's own where they are more
LIKELY = 0.5


def name_other_designs(
    designs: Sequence[DesignReadings], charts: Sequence[DesignAgreement], settings: Settings
) -> tuple[DesignAgreement, ...]:
    """`charts` with the finding `other_design` where a sheet fits another chart far better than its own.

    designs, charts: in the same order.  The prior share of such sheets is `other_design_rate`, divided
    among the charts of the same shape; "params" name the design, its variant and the readings that agree.
    """
    shapes: dict[tuple[tuple[str, ...], tuple[str, ...]], list[int]] = {}
    for at, chart in enumerate(charts):
        shapes.setdefault((chart.positions, chart.pins), []).append(at)
    tables = {}
    named = list(charts)
    for at, (design, chart) in enumerate(zip(designs, charts, strict=True)):
        others = [other for other in shapes[chart.positions, chart.pins] if other != at]
        suspects = [number for number, one in enumerate(chart.findings) if others and is_suspect(one)]
        if not suspects:
            continue
        for other in (at, *others):
            if other not in tables:
                tables[other] = [(variant, table_of(variant)) for variant in charts[other].variants]
        findings = list(chart.findings)
        for number in suspects:
            findings[number] = _renamed(
                design, number, findings[number], at, others, charts, tables, settings
            )
        named[at] = replace(chart, findings=tuple(findings))
    return tuple(named)


def is_suspect(finding: SheetFinding) -> bool:
    """Whether a sheet is worth comparing with other designs."""
    readings, agreeing = finding.params.get("readings", 0), finding.params.get("agreeing", 0)
    if readings < FEWEST_READINGS:
        return False
    return finding.finding == "unexplained" or agreeing < SUSPECT_SHARE * readings


def table_of(variant: VariantPattern) -> dict[Place, tuple[FloatArray, float]]:
    """Beliefs over open, closed, resistive and the level (Ω) of each read place."""
    return {
        (cell.position, cell.between, frozenset((cell.pin, cell.against))): (
            np.array(cell.states),
            cell.ohm.typical if cell.ohm is not None else float("nan"),
        )
        for cell in variant.cells
        if cell.state is not None
    }


def table_fit(
    design: DesignReadings,
    sheet: int,
    table: dict[Place, tuple[FloatArray, float]],
    rates: tuple[float, float],
    settings: Settings,
) -> tuple[float, int]:
    """Log likelihood of a sheet as read under a table, and how many readings agree with it."""
    readings = design.readings
    ohms = contact_ohms(readings)
    fit, agreeing = 0.0, 0
    for row in np.flatnonzero(readings.sheet == sheet):
        pins = frozenset((design.pins[readings.pin[row]], design.pins[readings.against[row]]))
        place = (design.positions[readings.position[row]], bool(readings.between[row]), pins)
        states, level = table.get(place, (np.full(3, 1 / 3), float("nan")))
        like = reading_chances(float(ohms[row]), level, rates, settings)
        fit += float(np.log(states @ like))
        agreeing += int(states.argmax() == like.argmax())
    return fit, agreeing


def reading_chances(ohm: float, level: float, rates: tuple[float, float], settings: Settings) -> FloatArray:
    """(3,) chance of a reading of Ω (nan: continuity, inf: over limit) if open, closed, on the level; rates:
    of missed and invented contacts."""
    miss, invent = rates
    if np.isnan(ohm) or ohm < settings.closed_below_ohm:
        return np.array([invent, 1 - miss, 0.01])
    if ohm >= settings.open_above_ohm:
        return np.array([1 - invent, miss, miss])
    near = not np.isnan(level) and abs(np.log(ohm / max(level, 1e-3))) < SAME_LEVEL
    return np.array([0.01, 0.01, 1 - miss if near else 0.02])


def reader_rates(chart: DesignAgreement, contributor: str) -> tuple[float, float]:
    """Missed and invented contacts of a reader of the chart, MISS and INVENT at the least."""
    own = {name: (miss, invent) for name, miss, invent in chart.model.contributors}
    miss, invent = own.get(contributor, (MISS, INVENT))
    return max(miss, MISS), max(invent, INVENT)


def _renamed(
    design: DesignReadings,
    sheet: int,
    finding: SheetFinding,
    own: int,
    others: list[int],
    charts: Sequence[DesignAgreement],
    tables: dict[int, list[tuple[VariantPattern, dict[Place, tuple[FloatArray, float]]]]],
    settings: Settings,
) -> SheetFinding:
    rates = reader_rates(charts[own], design.sheets[sheet].contributor)
    here = max(table_fit(design, sheet, table, rates, settings)[0] for _, table in tables[own])
    # what the sheet's own finding explains beyond "as read": its repaired readings
    readings, agreeing = finding.params["readings"], finding.params["agreeing"]
    repaired = agreeing * np.log(1 - rates[0]) + (readings - agreeing) * np.log(rates[1])
    here = max(here, float(repaired) if finding.finding != "unexplained" else here)
    told = max(float(mistakes_told(1 - sum(rates))), 1e-9)
    prior = np.log(settings.other_design_rate * told / len(others))
    best = max(
        (
            (*table_fit(design, sheet, table, rates, settings), other, variant.variant)
            for other in others
            for variant, table in tables[other]
        ),
        key=lambda entry: (entry[0], -entry[2]),
    )
    p = 1 / (1 + np.exp(np.clip(here - best[0] - prior, -50, 50)))
    if p <= LIKELY:
        return finding
    params = {"design": charts[best[2]].design, "variant": best[3], "readings": readings, "agreeing": best[1]}
    also = ((finding.finding, finding.p), *finding.also)
    return replace(finding, finding="other_design", p=float(p), also=also[:4], params=params)
