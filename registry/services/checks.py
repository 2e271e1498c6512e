"""A suspect unit, or a good one before it is sent, against the published chart.  Nothing is stored."""

from __future__ import annotations

from typing import Any

from registry.apart import apart
from registry.bridge import checks as bridge
from registry.errors import RegistryError, RegistryErrors
from registry.models import Design
from registry.selectors.check_facts import CheckFacts
from registry.selectors.kept_charts import published_chart, published_charts
from registry.selectors.outcomes import OutcomeCount, fault_prior_for, fault_prior_of
from registry.services.loose_sheet import read_loose
from registry.services.sheet_body import SheetBody, read_body
from registry.translation import gettext as _

Plain = dict[str, Any]


def check_suspect(*, body: Any) -> Plain:
    """The object of `checks` (contracts.md) for one sheet, with its sentences.

    Raises RegistryErrors; where the design has no chart yet, an error at /design says so.
    """
    return apart.run(_check, body)


def _check(body: Any) -> Plain:
    facts = CheckFacts()
    sheet = read_body(_as_suspect(body), catalogue=facts)
    chart = facts.chart(sheet.design)
    if chart is None:
        raise RegistryErrors([_no_chart(sheet.design)])
    result = bridge.check_one(
        chart,
        facts.others(sheet.design),
        entry_of(sheet),
        rows_of(sheet),
        learned_outcomes(sheet.design, facts.outcomes(sheet.design)),
    )
    return {**result, "warnings": [warning.as_dict() for warning in sheet.warnings]}


def learned_outcomes(design: Design, counted: OutcomeCount | None = None) -> bridge.Outcomes | None:
    """What became of units that were checked, for the fault rates of a check; None below ten of them.

    Which fault it was stays unnamed: that a check said so is no evidence for the next check.
    counted: where they were asked for already.
    """
    found = fault_prior_for(design) if counted is None else fault_prior_of(counted)
    if found is None:
        return None
    at_fault, checked = found
    return bridge.outcomes_of(good=checked - at_fault, unnamed=at_fault)


def identify_switch(*, body: Any, as_read: bool = False) -> Plain:
    """Which switch is this?  body: {"readings": [{position, pin, against, reading}]}; no design needed."""
    return apart.run(_identify, body, as_read)


def _identify(body: Any, as_read: bool) -> Plain:
    shape, entry, rows = read_loose(body)
    return bridge.identify_one(published_charts(), shape, entry, rows, as_read=as_read)


def sheet_preview(*, body: Any) -> Plain:
    """How a sheet compares before it is sent: what was read, what is odd, what it agrees with and adds."""
    return apart.run(_preview, body)


def _preview(body: Any) -> Plain:
    sheet = read_body(body)
    chart = published_chart(sheet.design)
    comparison = None
    if chart is not None:
        comparison = bridge.check_one(chart, None, entry_of(sheet), rows_of(sheet))
    return {
        "readings": [
            {
                "position": typed.position.label,
                "pin": typed.pin.label,
                "against": typed.against.label,
                "sweep": typed.sweep,
                "between": typed.between,
                "as_typed": typed.as_typed,
                "kind": typed.reading.kind.name.lower(),
                "low_ohm": typed.reading.low,
                "high_ohm": typed.reading.high,
            }
            for typed in sheet.readings
        ],
        "warnings": [warning.as_dict() for warning in sheet.warnings],
        "comparison": comparison,
        "adds": what_it_adds(chart),
    }


def what_it_adds(chart: bridge.StoredChart | None) -> Plain:
    """Units and contributors that the design has, and how many more its cells need to be agreed."""
    settings = bridge.standing_settings()
    units = chart.document["counts"]["units"] if chart else 0
    people = chart.document["contributors"] if chart else 0
    return {
        "units": units,
        "contributors": people,
        "units_needed": max(0, settings["agreed_units"] - units),
        "contributors_needed": max(0, settings["agreed_contributors"] - people),
    }


def _as_suspect(body: Any) -> Any:
    if not isinstance(body, dict):
        return body
    unit = {"key": "suspect"} if body.get("unit") is None else body["unit"]
    return {
        **body,
        "unit": unit,
        "purpose": "suspect" if body.get("purpose") in (None, "") else body["purpose"],
    }


def _no_chart(design: Design) -> RegistryError:
    return RegistryError(
        "no_chart",
        _("There is no agreed pattern of “{design}” yet.").format(design=design.name),
        _("Follow the design to hear when there is one."),
        field="/design",
    )


def entry_of(sheet: SheetBody) -> Plain:
    """The sheet's entry as in the inputs of a chart."""
    return {
        "sheet": str(sheet.client_id),
        "unit": sheet.unit_key,
        "contributor": "",
        "workshop": None,
        "class": sheet.source_class,
        "held_good": sheet.held_good,
        "read_at": sheet.read_at,
        "units_claimed": sheet.units_claimed,
        "variant": None,
        "correction": None,
    }


def rows_of(sheet: SheetBody) -> list[tuple[Any, ...]]:
    """The readings in the form of selectors.evidence.READING_FIELDS."""
    return [
        (
            str(sheet.client_id),
            typed.position.label,
            typed.between,
            typed.pin.label,
            typed.against.label,
            False,
            typed.sweep,
            typed.reading.kind.name.lower(),
            typed.reading.low,
            typed.reading.high,
            sheet.meter.limit_ohm,
            sheet.meter.lead_ohm,
        )
        for typed in sheet.readings
        if typed.reading.kind.name != "NOT_TAKEN"
    ]
