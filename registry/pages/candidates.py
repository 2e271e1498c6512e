"""Which designs the readings of a switch without a name fit, as the two pages that ask show them."""

from __future__ import annotations

import json
from typing import Any

from registry.errors import RegistryErrors
from registry.formats.figures import cell_text
from registry.pages.loose_form import LooseForm, loose_rows
from registry.services.checks import identify_switch


def candidates_of(form: LooseForm) -> tuple[list[dict[str, Any]] | None, list[str]]:
    """The candidates, likeliest first, and no errors; or None, and what is wrong with the readings."""
    rows = loose_rows(form.data)
    try:
        found = identify_switch(body={"readings": rows}, as_read=bool(form.data.get("as_read")))
    except RegistryErrors as errors:
        return None, [_named(error, rows) for error in errors]
    return [_shown(candidate) for candidate in found["candidates"]], []


def _named(error: Any, cells: list[dict[str, str]]) -> str:
    """An error of a row, with the place that the reader knows it by."""
    parts = error.field.split("/")
    sentence = f"{error.message} {error.advice}".strip()
    if len(parts) > 2 and parts[1] == "readings" and int(parts[2]) < len(cells):
        place = cell_text(cells[int(parts[2])], cells[int(parts[2])]["against"])
        return f"{place[:1].upper()}{place[1:]}: {sentence}"
    return sentence


def _shown(candidate: dict[str, Any]) -> dict[str, Any]:
    pins = candidate.get("pins") or {}
    return {**candidate, "moved": [(a, b) for a, b in pins.items() if a != b], "json": json.dumps(pins)}
