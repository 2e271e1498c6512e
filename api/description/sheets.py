"""JSON schemas of bench sheets, of findings, and of what a check answers."""

from __future__ import annotations

from api.description.bodies import YES_NO, Plain, blank_or, record, rows, text, word
from api.description.charts import COUNT, PLACE, SHARE, TEXT, many, thing
from registry.models.catalogue import SourceClass
from registry.models.sheets import HeldGood, ReadAt, SheetVersionPurpose
from registry.services.sheet_body import MOST_READINGS
from registry.services.sheet_bulk import MOST_SHEETS

ID: Plain = {"type": "string", "format": "uuid"}
ID_OR_NONE: Plain = {"type": ["string", "null"], "format": "uuid"}
ID_OR_BLANK: Plain = blank_or("uuid")
OHM: Plain = {"type": ["number", "string", "null"], "description": "Ω, or as written on the meter: 20M"}
FIGURE: Plain = {"type": ["number", "string", "null"]}

READING: Plain = record(
    ["position", "pin", "against"],
    position={"type": "string", "minLength": 1, "maxLength": 40},
    pin={"type": "string", "minLength": 1, "maxLength": 40},
    against={"type": "string", "minLength": 1, "maxLength": 40},
    reading={
        "type": ["string", "number", "null"],
        "description": "As the meter showed it: 0.4, 1.2k, 4R7, 0.8 MΩ, OL, cont, 0.4…35; blank: not taken",
    },
    sweep={"type": ["integer", "null"], "minimum": 1, "maximum": 99, "default": 1},
    between=YES_NO,
)
METER: Plain = {
    "type": ["object", "null"],
    "properties": {
        "name": text(80),
        "limit_ohm": OHM,
        "lead_ohm": OHM,
        "apart_shows": text(20),
        "buzzer_limit_ohm": OHM,
    },
}
_FIELDS: dict[str, Plain] = {
    "client_id": {**ID_OR_BLANK, "description": "Made by the client; sent again it gets the first answer."},
    "design": text(200, needed=True, description="The design's id, or its name"),
    "name": text(200),
    "unit": record(
        ["key"],
        key=text(200, needed=True, description="Your own name of the physical switch"),
        tag_code=text(80),
        date_code=text(40),
        part_number=text(80),
    ),
    "purpose": word(SheetVersionPurpose.values, "known_good"),
    "held_good": word(HeldGood.values, "worked"),
    "source_class": word(SourceClass.values, "unknown"),
    "read_at": word(ReadAt.values, "bench"),
    "read_on": blank_or("date"),
    "distance_km": {"type": ["number", "string", "null"], "description": "On the unit"},
    "meter": METER,
    "measured_it_myself": {"type": "boolean", "const": True},
    "units_claimed": {"type": ["integer", "null"], "minimum": 1, "maximum": 999, "default": 1},
    "note": text(4000),
    "rereads": ID_OR_BLANK,
    "readings": rows(READING, least=1, most=MOST_READINGS),
    "second_pass": rows(READING, most=MOST_READINGS),
}
SHEET: Plain = record(["design", "unit", "measured_it_myself", "readings"], **_FIELDS)
PREVIEW: Plain = record(
    ["design", "unit", "readings"],
    **{name: shape for name, shape in _FIELDS.items() if name != "measured_it_myself"},
)
CHECK_SHEET: Plain = record(
    ["design", "readings"],
    **{name: _FIELDS[name] for name in _FIELDS if name not in ("measured_it_myself", "unit")},
    unit={"type": ["object", "null"]},
)
_AMENDING: dict[str, Plain] = {
    "on_version": {
        "type": "integer",
        "minimum": 1,
        "description": "The version that was on the screen; or send If-Match.",
    },
    "reason": text(300, needed=True, description="What was wrong"),
}
AMEND: Plain = record(["unit", "readings", "reason"], **{**_FIELDS, **_AMENDING})
PATCH: Plain = record(["reason"], **{**_FIELDS, **_AMENDING})
REASON: Plain = record(["reason"], reason=text(300, needed=True))
BULK: Plain = record(
    ["submissions"], submissions=rows({"description": "A bench sheet"}, least=1, most=MOST_SHEETS)
)
IDENTIFY: Plain = record(
    ["readings"],
    readings=rows(READING, least=1, most=2000),
    as_read={"type": ["boolean", "null"], "description": "true: the pins' numbers are known to be right"},
)

BULK_ANSWER: Plain = thing(
    stored=COUNT,
    known={**COUNT, "description": "Sent before with the same body; nothing was added"},
    refused=COUNT,
    results=many(
        {
            "type": "object",
            "properties": {
                "index": COUNT,
                "status": {"type": "integer", "enum": [200, 201, 400, 409, 429]},
                "submission": ID_OR_NONE,
                "problem": {"type": ["object", "null"]},
            },
            "required": ["index", "status", "submission", "problem"],
        }
    ),
)
CHECK_ANSWER: Plain = thing(
    submission=TEXT,
    design=TEXT,
    variant={"type": ["string", "null"]},
    verdict={"type": "string", "enum": ["good", "faulty", "undecided"]},
    p_good=SHARE,
    causes=many(
        {
            "type": "object",
            "properties": {
                "cause": TEXT,
                "pins": many(TEXT),
                "positions": many(TEXT),
                "p": SHARE,
                "group": COUNT,
                "message": TEXT,
            },
            "required": ["cause", "pins", "positions", "p", "group", "message"],
        }
    ),
    next=many({"type": "object", "properties": {**PLACE, "bits": {"type": "number"}}}),
    unlike=many({"type": "object", "properties": PLACE}),
)
IDENTIFY_ANSWER: Plain = thing(
    candidates=many(
        thing(
            design=TEXT,
            variant={"type": ["string", "null"]},
            p=SHARE,
            pins={"type": "object", "additionalProperties": TEXT},
        )
    ),
)
PREVIEW_ANSWER: Plain = thing(
    readings=many({"type": "object", "properties": PLACE}),
    warnings=many({"type": "object"}),
    comparison={"type": ["object", "null"]},
    adds={"type": "object"},
)
