"""A tidy table of sheets against a file's charts: `benchquorum/check/1`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from consensus import check_sheet
from consensus.readings import DesignReadings
from consensus.results import DesignAgreement
from registry.bridge.agreed import Charts
from registry.bridge.parallel import each_sheet
from registry.bridge.tables import SortedTable, sheet_positions
from registry.errors import RegistryError, RegistryErrors, pointer
from registry.formats.causes import cause_message, verdict_message
from registry.formats.documents import CHECK
from registry.formats.labels import natural_key
from registry.formats.tidy_table import TidyTable
from registry.translation import gettext as _

Plain = dict[str, Any]
Progress = Callable[[float], None]


def check_document(
    table: TidyTable, charts: Charts, progress: Progress | None = None, workers: int = 1
) -> tuple[Plain, list[str]]:
    """Every sheet of the file against the chart of its design; and warnings about labels that differ."""
    sheets, warnings = sheets_on_charts(table, charts)
    checks = each_sheet(_checked, charts, sheets, progress, workers)
    return {"format": CHECK, "checks": checks}, warnings


def _checked(charts: Charts, sheet: DesignReadings) -> Plain:
    chart = charts.by_design[sheet.design]
    return told(check_sheet(sheet, chart, charts.others(sheet.design), charts.settings).to_plain(), chart)


def told(check: Plain, chart: DesignAgreement) -> Plain:
    """An object of `checks` with its sentences."""
    for cause in check["causes"]:
        cause["message"] = cause_message(cause, chart.common)
    check["message"] = verdict_message(check)
    return check


def sheets_on_charts(table: TidyTable, charts: Charts) -> tuple[list[DesignReadings], list[str]]:
    """Each sheet by itself, its steps and pins laid on the chart of its design.

    Pins and steps that the chart has not are put behind its own.  A design without a chart is an error.
    """
    missing = [
        RegistryError(
            "design_unknown",
            _("Design “{design}” is not in the file of agreed patterns.").format(design=name),
            _("Write the design's name as it is there, or find it with “benchquorum identify”."),
            field=pointer("designs", name),
            line=next(sheet.first_line for sheet in table.sheets if table.designs[sheet.design] == name),
            column="design",
        )
        for name in table.designs
        if charts.of(name) is None
    ]
    if missing:
        raise RegistryErrors(missing)
    ordered = SortedTable.of(table)
    found: list[DesignReadings] = []
    warnings: list[str] = []
    for place, index in enumerate(ordered.sheets):
        sheet = table.sheets[index]
        chart = charts.by_design[table.designs[sheet.design]]
        rows = slice(ordered.begins[place], ordered.begins[place + 1])
        labels = [ordered.labels[rank] for rank in ordered.pins_of(rows)]
        own = sheet_positions(ordered, rows)
        warnings += _differences(
            sheet.name, chart, own, {int(step) for step in table.step[ordered.order[rows]]}
        )
        found.append(
            ordered.readings(
                chart.design,
                range(place, place + 1),
                (*chart.positions, *_new(own[len(chart.positions) :], chart.positions)),
                (*chart.pins, *sorted(set(labels) - set(chart.pins), key=natural_key)),
                chart.common,
            )
        )
    return found, warnings


def _new(labels: Sequence[str], known: Sequence[str]) -> list[str]:
    return [f"{label} (+)" if label in known else label for label in labels]


def _differences(name: str, chart: DesignAgreement, own: Sequence[str], steps: set[int]) -> list[str]:
    """Steps count, labels don't; but who calls a step otherwise may have counted otherwise."""
    calls = [
        _("step {step} is “{own}” here and “{chart}” in the chart").format(step=step, own=here, chart=there)
        for step, (here, there) in enumerate(zip(own, chart.positions, strict=False), 1)
        if step in steps and here.casefold() != there.casefold()
    ]
    return [_("{name}: {calls}; the step counts.").format(name=name, calls="; ".join(calls))] if calls else []
