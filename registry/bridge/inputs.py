"""Plain rows → what the engine is given.  Two ways in: a tidy table, or facts and rows of one design."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from consensus.readings import DesignReadings, Readings, Sheet
from registry.formats.reading import DEFAULT_LIMIT_OHM, ReadingKind
from registry.formats.tidy_table import TidySheet

Place = tuple[str, bool, str, str]  # position, between, pin, against: labels


@dataclass(frozen=True)
class DesignFacts:
    """What is known of a design besides its sheets; positions in detent order, pins in connector order."""

    design: str
    positions: tuple[str, ...]
    pins: tuple[str, ...]
    common: str | None = None
    start_positions: tuple[str, ...] | None = None  # those that release the starter; None: not known
    disputed: tuple[Place, ...] = ()


class ReadingRow(NamedTuple):
    """One reading of `sheets[sheet]`; step: 1-based; low, high: Ω as shown, None where there is no figure."""

    sheet: int
    step: int
    pin: str
    against: str
    kind: int
    low: float | None
    high: float | None
    between: bool = False
    sweep: int = 1
    limit: float = DEFAULT_LIMIT_OHM
    lead: float = 0.0


def design_readings(
    facts: DesignFacts, sheets: Sequence[TidySheet], rows: Iterable[ReadingRow]
) -> DesignReadings:
    """The engine's input for one design; the order of rows doesn't matter, that of sheets is kept."""
    pin_of = {label: place for place, label in enumerate(facts.pins)}
    kept = sorted(
        (row for row in rows if row.kind != ReadingKind.NOT_TAKEN),
        key=lambda row: (row.sheet, row.step, row.between, row.sweep, pin_of[row.pin], pin_of[row.against]),
    )
    return _built(
        facts,
        sheets,
        Readings(
            sheet=np.array([row.sheet for row in kept], dtype=np.int32),
            position=np.array([row.step - 1 for row in kept], dtype=np.int32),
            between=np.array([row.between for row in kept], dtype=np.bool_),
            sweep=np.array([row.sweep for row in kept], dtype=np.int32),
            pin=np.array([pin_of[row.pin] for row in kept], dtype=np.int32),
            against=np.array([pin_of[row.against] for row in kept], dtype=np.int32),
            kind=np.array([row.kind for row in kept], dtype=np.int32),
            low=np.array([row.low for row in kept], dtype=np.float64),
            high=np.array([row.high for row in kept], dtype=np.float64),
            limit=np.array([row.limit for row in kept], dtype=np.float64),
            lead=np.array([row.lead for row in kept], dtype=np.float64),
        ),
    )


def _built(facts: DesignFacts, sheets: Sequence[TidySheet], readings: Readings) -> DesignReadings:
    position_of = {label: place for place, label in enumerate(facts.positions)}
    pin_of = {label: place for place, label in enumerate(facts.pins)}

    def place(labels: Place) -> tuple[int, bool, int, int]:
        position, between, pin, against = labels
        low, high = sorted((pin_of[pin], pin_of[against]))
        return position_of[position], between, low, high

    starts = facts.start_positions
    return DesignReadings(
        design=facts.design,
        positions=facts.positions,
        pins=facts.pins,
        common=None if facts.common is None else pin_of[facts.common],
        sheets=tuple(engine_sheet(sheet) for sheet in sheets),
        readings=readings,
        start_positions=None if starts is None else tuple(position_of[label] for label in starts),
        disputed=frozenset(place(labels) for labels in facts.disputed),
    )


def engine_sheet(sheet: TidySheet) -> Sheet:
    return Sheet(
        name=sheet.name,
        unit=sheet.unit,
        contributor=sheet.contributor,
        workshop=sheet.workshop,
        source_class=sheet.source_class,
        held_good=sheet.held_good,
        read_at=sheet.read_at,
        units_claimed=sheet.units_claimed,
        bound_variant=sheet.bound_variant,
    )
