"""JSON schemas of a chart, of the envelope that it comes in, and of a difference."""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]
TEXT: Plain = {"type": "string"}
SHARE: Plain = {"type": "number", "minimum": 0, "maximum": 1}
COUNT: Plain = {"type": "integer", "minimum": 0}


def thing(**properties: Plain) -> Plain:
    """An object with these fields; more may be added later, none is dropped."""
    return {"type": "object", "properties": properties, "required": list(properties)}


def many(item: Plain) -> Plain:
    return {"type": "array", "items": item}


OHM: Plain = {
    "type": ["object", "null"],
    "properties": {
        "typical": {"type": "number"},
        "u": {"type": "number"},
        "accept": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
    },
    "required": ["typical", "u", "accept"],
}
STATE: Plain = {"type": ["string", "null"], "enum": ["open", "closed", "resistive", None]}
STANDING: Plain = {"type": "string", "enum": ["agreed", "provisional", "disputed", "thin", "unread"]}
PLACE: Plain = {
    "position": TEXT,
    "pin": TEXT,
    "against": TEXT,
    "between": {"type": "boolean"},
}
CELL = thing(
    **PLACE,
    state=STATE,
    p_open=SHARE,
    standing=STANDING,
    units=COUNT,
    agreeing=COUNT,
    contributors=COUNT,
    agreement={"type": "array", "items": SHARE, "minItems": 2, "maxItems": 2},
    ohm=OHM,
)
VARIANT = thing(
    variant=TEXT, share=SHARE, submissions=COUNT, units=COUNT, contributors=COUNT, cells=many(CELL)
)
FINDING_WORDS = [
    "fits",
    "slip",
    "mirrored_pins",
    "wrong_common",
    "shifted_positions",
    "exchanged",
    "faulty_unit",
    "other_variant",
    "other_design",
    "coordinated",
    "unexplained",
]
FINDING_WORD: Plain = {"type": "string", "enum": FINDING_WORDS}
FINDING = thing(
    submission=TEXT,
    variant={"type": ["string", "null"]},
    finding=FINDING_WORD,
    p=SHARE,
    also=many(thing(finding=FINDING_WORD, p=SHARE)),
    cells=many(thing(**PLACE)),
)
CHART = thing(
    format={"type": "string", "const": "benchquorum/chart/1"},
    engine=TEXT,
    design=thing(
        uuid={"type": "string", "format": "uuid"},
        name=TEXT,
        positions=many(TEXT),
        pins=many(TEXT),
        common={"type": ["string", "null"]},
    ),
    variants=many(VARIANT),
    submissions=many(FINDING),
)
TIME: Plain = {"type": "string", "format": "date-time"}
ENVELOPE = thing(
    design={"type": "string", "format": "uuid"},
    revision={"type": "integer", "minimum": 1},
    state={"type": "string", "enum": ["published", "withdrawn"]},
    published=TIME,
    withdrawn={
        "type": ["object", "null"],
        "properties": {"at": TIME, "reason": TEXT},
        "required": ["at", "reason"],
    },
    digest=TEXT,
    content_sha256=TEXT,
    chart=CHART,
)
_STAND: Plain = {
    "type": ["object", "null"],
    "properties": {"state": STATE, "standing": STANDING, "units": COUNT, "agreeing": COUNT, "ohm": OHM},
}
_SHARES = thing(share=SHARE, submissions=COUNT, units=COUNT, contributors=COUNT)
DIFFERENCE = thing(
    design={"type": "string", "format": "uuid"},
    **{"from": COUNT, "to": COUNT},
    shape_changed={"type": "boolean"},
    variants_added=many(TEXT),
    variants_removed=many(TEXT),
    variants=many(thing(variant=TEXT, **{"from": _SHARES, "to": _SHARES})),
    cells=many(thing(variant=TEXT, **PLACE, **{"from": _STAND, "to": _STAND})),
)

_TEST_READING: Plain = {"type": "object", "properties": PLACE}
LINE_CODES = thing(
    design={"type": "string", "format": "uuid"},
    revision=COUNT,
    results=many(
        thing(
            variant=TEXT,
            positions=many(TEXT),
            lines=many(TEXT),
            start_positions=many(TEXT),
            start_known={"type": "boolean"},
            distances=many(many(COUNT)),
            least_distance=COUNT,
            one_line_steps={"type": "boolean"},
            steps=many({"type": "object"}),
            parity=many({"type": "object"}),
            effects=many(
                thing(
                    cause=TEXT,
                    pins=many(TEXT),
                    positions=many(TEXT),
                    danger={"type": "boolean"},
                    noticed=many(TEXT),
                    passes=many({"type": "object"}),
                    start_lost=many(TEXT),
                )
            ),
        )
    ),
)
SHORT_TESTS = thing(
    design={"type": "string", "format": "uuid"},
    revision=COUNT,
    results=many(
        thing(
            variant=TEXT,
            full=COUNT,
            lines=many(_TEST_READING),
            good=many(_TEST_READING),
            cause=many(_TEST_READING),
            exact={"type": "boolean"},
        )
    ),
)
