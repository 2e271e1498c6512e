"""The registry's frozen inputs → a chart document; evidence of all designs → a reliability snapshot."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from consensus import (
    ENGINE_VERSION,
    DesignAgreement,
    ReadingModel,
    Reliability,
    Settings,
    agree_design,
    learn_reliability,
)
from consensus.readings import DesignReadings
from registry.bridge.corrections import corrected_rows
from registry.bridge.inputs import DesignFacts, Place, ReadingRow, design_readings
from registry.formats.reading import ReadingKind
from registry.formats.tidy_table import TidySheet

__all__ = [
    "ENGINE_VERSION",
    "Evidence",
    "chart_document",
    "engine_settings",
    "evidence_readings",
    "snapshot_document",
]

Inputs = dict[str, Any]
StoredRow = tuple[Any, ...]  # registry.selectors.evidence_rows.READING_FIELDS
Evidence = DesignReadings


def engine_settings() -> dict[str, Any]:
    """The engine's thresholds and priors in force, JSON-ready."""
    return Settings().to_plain()


def chart_document(inputs: Inputs, design: Evidence, reliability: dict[str, Any]) -> dict[str, Any]:
    """`benchquorum/chart/1`: what the inputs make of a design; equal inputs give equal documents.

    design: of these very inputs, from `evidence_readings`.
    """
    settings = Settings().with_values(**inputs["settings"])
    counted = {n for n, sheet in enumerate(design.sheets) if sheet.counts}
    if counted & set(design.readings.sheet.tolist()):
        agreement = agree_design(design, Reliability.from_plain(reliability), settings)
    else:
        agreement = _nothing_counts(design, settings)
    keys: dict[str, str] = inputs["keys"]
    plain = agreement.to_plain()
    findings = agreement.findings_plain()
    for entry in [*plain["variants"], *findings]:
        entry["variant"] = keys.get(entry["variant"], entry["variant"])
    counting = [sheet for sheet in design.sheets if sheet.counts]
    return {
        "format": "benchquorum/chart/1",
        "engine": inputs["engine"],
        **plain,
        "design": inputs["design"],
        "contributors": len({sheet.contributor for sheet in counting}),
        "counts": {
            "submissions": len(design.sheets),
            "used": len(counting),
            "readings": len(design.readings),
            "units": len({sheet.unit for sheet in counting}),
        },
        "submissions": findings,
    }


def _nothing_counts(design: DesignReadings, settings: Settings) -> DesignAgreement:
    """All sheets withdrawn or set aside, or suspects only: no pattern, and nothing to judge a sheet by."""
    return DesignAgreement(
        design=design.design,
        positions=design.positions,
        pins=design.pins,
        common=None if design.common is None else design.pins[design.common],
        variants=(),
        findings=(),
        model=ReadingModel(
            miss=settings.miss_rate,
            invent=settings.invent_rate,
            leak=settings.leak_rate,
            dirty=settings.dirty_rate,
            misread_level=settings.misread_level_rate,
            contact_ohm=settings.contact_ohm,
            contact_spread=settings.contact_spread,
            level_spread=settings.level_spread,
        ),
        start_positions=None
        if design.start_positions is None
        else tuple(design.positions[at] for at in design.start_positions),
    )


def snapshot_document(
    evidence: Iterable[Evidence],
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """Contributors' slip rates as learned from the evidence of all designs."""
    return learn_reliability(list(evidence), Settings(), progress).to_plain()


def evidence_readings(inputs: Inputs, rows: Sequence[StoredRow]) -> Evidence:
    """The engine's input; readings at labels that the design has not (after a move or merge) stay out."""
    shape = inputs["design"]
    steps = {label: n for n, label in enumerate(shape["positions"], start=1)}
    pins = set(shape["pins"])
    order = {entry["sheet"]: n for n, entry in enumerate(inputs["sheets"])}
    facts = DesignFacts(
        design=shape["name"],
        positions=tuple(shape["positions"]),
        pins=tuple(shape["pins"]),
        common=shape["common"],
        start_positions=None if shape["start_positions"] is None else tuple(shape["start_positions"]),
        disputed=tuple(_place(cell) for cell in inputs["disputed"] if _known(cell, steps, pins)),
    )
    readings = [
        ReadingRow(
            sheet=order[sheet],
            step=steps[position],
            pin=b if turned else a,
            against=a if turned else b,
            kind=int(ReadingKind[kind.upper()]),
            low=low,
            high=high,
            between=between,
            sweep=sweep,
            limit=limit,
            lead=lead,
        )
        for sheet, position, between, a, b, turned, sweep, kind, low, high, limit, lead in corrected_rows(
            shape, inputs["sheets"], rows
        )
        if position in steps and a in pins and b in pins
    ]
    return design_readings(facts, [_sheet(entry) for entry in inputs["sheets"]], readings)


def _sheet(entry: dict[str, Any]) -> TidySheet:
    return TidySheet(
        name=entry["sheet"],
        design=0,
        unit=entry["unit"],
        contributor=entry["contributor"],
        source_class=entry["class"],
        held_good=entry["held_good"],
        workshop=entry["workshop"],
        read_at=entry["read_at"],
        units_claimed=entry["units_claimed"],
        bound_variant=entry["variant"],
    )


def _known(cell: dict[str, Any], steps: dict[str, int], pins: set[str]) -> bool:
    return cell["position"] in steps and {cell["pin"], cell["against"]} <= pins


def _place(cell: dict[str, Any]) -> Place:
    return cell["position"], bool(cell.get("between", False)), cell["pin"], cell["against"]
