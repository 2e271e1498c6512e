"""JSON schemas of what is sent.  They say what the services read; the services are what checks it."""

from __future__ import annotations

from typing import Any

from registry.models.catalogue import ConnectorViewing, DesignActuation
from registry.services.catalogue import MOST_PINS, MOST_POSITIONS, MOST_WORDS

Plain = dict[str, Any]


def text(longest: int, *, needed: bool = False, **more: Any) -> Plain:
    """A line of text; null and blank mean absent unless it is needed."""
    if needed:
        return {"type": "string", "minLength": 1, "maxLength": longest, "pattern": "\\S", **more}
    return {"type": ["string", "null"], "maxLength": longest, **more}


def word(choices: list[str], default: str) -> Plain:
    return {"type": ["string", "null"], "enum": [*choices, "", None], "default": default}


def rows(item: Plain, *, most: int, least: int = 0) -> Plain:
    kind: Any = "array" if least else ["array", "null"]
    return {"type": kind, "items": item, "minItems": least, "maxItems": most}


def record(needed: list[str], **properties: Plain) -> Plain:
    return {"type": "object", "properties": properties, "required": needed}


def blank_or(form: str) -> Plain:
    """Text of this form; null and blank mean absent."""
    return {"anyOf": [{"type": "string", "format": form}, {"type": ["string", "null"], "enum": ["", None]}]}


YES_NO: Plain = {"type": ["boolean", "null"]}
YEAR: Plain = {"type": ["integer", "null"], "minimum": 1900, "maximum": 2200}
GRID: Plain = {"type": ["integer", "null"], "minimum": 1, "maximum": 99}

DESIGN: Plain = record(
    ["name", "positions", "pins"],
    name=text(200, needed=True),
    maker=text(120),
    families=rows({"type": "string", "maxLength": 120}, most=MOST_WORDS),
    part_numbers=rows({"type": "string", "maxLength": 80, "pattern": "^\\s*$|[0-9A-Za-z]"}, most=MOST_WORDS),
    applications=rows(
        record(["vehicle"], vehicle=text(160, needed=True), year_from=YEAR, year_to=YEAR), most=200
    ),
    positions=rows(
        record(
            ["label"],
            label=text(40, needed=True),
            name=text(60),
            releases_starter=YES_NO,
            aliases=rows({"type": "string", "maxLength": 40}, most=MOST_WORDS),
        ),
        least=1,
        most=MOST_POSITIONS,
    ),
    pins={
        "description": "In connector order: labels, or each as drawn.",
        "anyOf": [
            rows(text(40, needed=True), least=2, most=MOST_PINS),
            rows(
                record(
                    ["label"],
                    label=text(40, needed=True),
                    row=GRID,
                    column=GRID,
                    empty=YES_NO,
                    line_name=text(60),
                ),
                least=2,
                most=MOST_PINS,
            ),
        ],
    },
    common=text(40, description="The pin that all share; leave it out where there is none."),
    landmark=text(200),
    viewing=word(ConnectorViewing.values, "unknown"),
    actuation=word(DesignActuation.values, "lever"),
    description=text(4000),
)
