"""Examples of a chart, of the envelope that it comes in, of a difference, and of what is no JSON."""

from __future__ import annotations

from typing import Any

from api.description.examples import DESIGN_ID, DIGEST, FIGURES, SHEET_ID, as_text

Plain = dict[str, Any]

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
CSV = as_text(
    "Table", "text/csv", "design,revision,revision_state,variant,position,between,pin,against,state…"
)
PDF = as_text("Print", "application/pdf", "%PDF-1.3 …")
SVG = as_text("Drawing", "image/svg+xml", '<svg xmlns="http://www.w3.org/2000/svg">…</svg>')
