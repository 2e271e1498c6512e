"""The verdict of a check in sentences: danger first, then how sure, why, and what to read next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from registry.formats.causes import fault_clause, verdict_message
from registry.formats.code_words import effect_alone, effect_message
from registry.formats.figures import cell_text, state_text
from registry.pages.code_facts import effects_by_fault, fault_key, readings_that_settle
from registry.templatetags.pattern import cell_key

MOST_CAUSES, MOST_NEXT = 5, 5
LEAST_P = 0.01
DANGER_P = 0.05  # a fault this likely that could release the starter in gear is said first
Plain = Mapping[str, Any]
SHEET_CAUSES = frozenset(
    (
        "mirrored_pins",
        "wrong_common",
        "shifted_positions",
        "exchanged",
        "slip",
        "other_variant",
        "other_design",
    )
)


def verdict_words(check: Plain, chart: Plain, design: UUID, names: Mapping[Any, str]) -> dict[str, Any]:
    """check: of `check_suspect`; chart: the content it was held against; names: place → field of the grid."""
    common = chart["common"]
    cells = {cell_key(cell): cell for variant in chart["variants"][:1] for cell in variant["cells"]}
    likely = [cause for cause in check["causes"] if cause["p"] >= LEAST_P][:MOST_CAUSES]
    effects = effects_by_fault(design, check["variant"])
    causes = [_cause(cause, effects, common) for cause in likely]
    danger = [cause["in_full"] for cause in causes if cause["danger"] and cause["p"] >= DANGER_P]
    open_danger = [_not_excluded(fault, effects, common) for fault in check.get("not_excluded", ())]
    return {
        "verdict": check["verdict"],
        "sentence": verdict_message(check),
        "danger": danger,
        "open_danger": open_danger,
        "settles": readings_that_settle(design, check["variant"]),
        "agree": _("{agreeing} of {compared} readings agree with the pattern.").format(
            agreeing=check["agreeing"], compared=check["compared"]
        ),
        "causes": causes,
        "next": [
            {
                "place": cell_text(reading, common),
                "field": names.get(cell_key(reading), ""),
                "bits": reading["bits"],
                "repeat": reading.get("repeat", False),
            }
            for reading in check["next"][:MOST_NEXT]
        ],
        "unlike": [_unlike(read, cells.get(cell_key(read), {}), common, names) for read in check["unlike"]],
        "warnings": check["warnings"],
    }


def _unlike(read: Plain, cell: Plain, common: str | None, names: Mapping[Any, str]) -> dict[str, Any]:
    place = cell_text(read, common)
    sentence = _("{place} reads {read}; {expected} in {agreeing} of {units} good units.").format(
        place=place[:1].upper() + place[1:],
        read=read["read"],
        expected=state_text(read["expected"]),
        agreeing=cell.get("agreeing", 0),
        units=cell.get("units", 0),
    )
    return {"sentence": sentence, "field": names.get(cell_key(read), "")}


def _cause(cause: Plain, effects: Mapping[Any, Plain], common: str | None) -> dict[str, Any]:
    """The cause, and what it makes the controller see where it is a fault of the unit."""
    effect = effects.get(fault_key(dict(cause)))
    return {
        **cause,
        "of_sheet": cause["cause"] in SHEET_CAUSES,
        "effect": effect_alone(effect) if effect else "",
        "in_full": effect_message(effect, common) if effect else "",
        "danger": bool(effect and effect["danger"]),
    }


def _not_excluded(fault: Plain, effects: Mapping[Any, Plain], common: str | None) -> str:
    effect = effects.get(fault_key(dict(fault)))
    if effect:
        return effect_message(effect, common)
    clause = fault_clause({**fault, **fault.get("params", {})}, common)
    return f"{clause[:1].upper()}{clause[1:]}."
