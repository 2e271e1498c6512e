"""JSON schema and example of a chart, of the envelope that it comes in, and of a difference."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample

from api.description.examples import DESIGN_ID, DIGEST, FIGURES, SHEET_ID

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

_CELL_EXAMPLE: Plain = {
    "position": "R",
    "pin": "4",
    "against": "1",
    "between": False,
    "state": "closed",
    "p_open": 0.000001,
    "standing": "agreed",
    "units": 11,
    "agreeing": 11,
    "contributors": 7,
    "agreement": [0.715, 1.0],
    "ohm": {"typical": 0.41, "u": 0.03, "accept": [0.0, 2.1]},
}
CHART_EXAMPLE: Plain = {
    "design": DESIGN_ID,
    "revision": 3,
    "state": "published",
    "published": "2026-11-20T09:30:00Z",
    "withdrawn": None,
    "digest": DIGEST,
    "content_sha256": DIGEST[::-1],
    "chart": {
        "format": "benchquorum/chart/1",
        "engine": "1",
        "design": {
            "uuid": DESIGN_ID,
            "name": "Sweeper selector, five pins",
            "positions": ["P", "R", "N", "D"],
            "pins": ["1", "2", "3", "4", "5"],
            "common": "1",
        },
        "variants": [
            {
                "variant": "a",
                "share": 1.0,
                "submissions": 12,
                "units": 11,
                "contributors": 7,
                "cells": [_CELL_EXAMPLE],
            }
        ],
        "submissions": [
            {
                "submission": "0d0f8a52-4f0e-4f0d-9a57-7b3a3b0a2f31",
                "variant": "a",
                "finding": "fits",
                "p": 0.98,
                "also": [],
                "cells": [],
            }
        ],
    },
}
CHART_LINE: Plain = {
    **FIGURES,
    "design": DESIGN_ID,
    "name": "Sweeper selector, five pins",
    "state": "published",
}
REVISION_LINE: Plain = {
    "revision": 3,
    "design": DESIGN_ID,
    "state": "published",
    "published": "2026-11-20T09:30:00Z",
    "withdrawn": None,
    "withdrawn_reason": "",
    "digest": DIGEST,
    "content_sha256": DIGEST[::-1],
}
DIFFERENCE_EXAMPLE: Plain = {
    "design": DESIGN_ID,
    "from": 2,
    "to": 3,
    "shape_changed": False,
    "variants_added": [],
    "variants_removed": [],
    "variants": [],
    "cells": [
        {
            "variant": "a",
            "position": "R",
            "between": False,
            "pin": "4",
            "against": "1",
            "from": {"state": "closed", "standing": "provisional", "units": 4, "agreeing": 4, "ohm": None},
            "to": {"state": "closed", "standing": "agreed", "units": 11, "agreeing": 11, "ohm": None},
        }
    ],
}
LINE_CODES_EXAMPLE: Plain = {
    "design": DESIGN_ID,
    "revision": 3,
    "results": [
        {
            "variant": "a",
            "positions": ["P", "R"],
            "lines": ["2", "3"],
            "start_positions": ["P"],
            "start_known": True,
            "distances": [[0, 2], [2, 0]],
            "least_distance": 2,
            "one_line_steps": False,
            "steps": [{"position": "P", "to": "R", "changes": ["2", "3"]}],
            "parity": [{"lines": ["2", "3"], "odd": True}],
            "effects": [
                {
                    "cause": "line_open",
                    "pins": ["2"],
                    "positions": [],
                    "danger": False,
                    "noticed": ["P"],
                    "passes": [],
                    "start_lost": ["P"],
                }
            ],
        }
    ],
}
SHORT_TESTS_EXAMPLE: Plain = {
    "design": DESIGN_ID,
    "revision": 3,
    "results": [
        {
            "variant": "a",
            "full": 16,
            "lines": [{"position": "P", "pin": "2", "against": "1"}],
            "good": [{"position": "P", "pin": "2", "against": "1"}],
            "cause": [{"position": "P", "pin": "2", "against": "1"}],
            "exact": True,
        }
    ],
}
BEHIND_LINE: Plain = {
    "submission": SHEET_ID,
    "version": 1,
    "contributor": "c-0f3a9be2d1",
    "unit": "a1f7a0de-6f0b-43f6-8a53-39c94a1e9b5d",
    "source_class": "original",
    "held_good": "worked",
    "reading": {
        "position": "P",
        "pin": "2",
        "against": "1",
        "reading": "0.4",
        "sweep": 1,
        "between": False,
        "first_pass": True,
        "kind": "value",
        "low_ohm": 0.4,
        "high_ohm": 0.4,
        "limit_ohm": 2e7,
        "lead_ohm": 0.2,
    },
}
CSV = OpenApiExample(
    "Table",
    value="design,revision,revision_state,variant,position,between,pin,against,state…",
    media_type="text/csv",
    response_only=True,
    status_codes=["200"],
)
PDF = OpenApiExample(
    "Print",
    value="%PDF-1.3 …",
    media_type="application/pdf",
    response_only=True,
    status_codes=["200"],
)
SVG = OpenApiExample(
    "Drawing",
    value='<svg xmlns="http://www.w3.org/2000/svg">…</svg>',
    media_type="image/svg+xml",
    response_only=True,
    status_codes=["200"],
)
