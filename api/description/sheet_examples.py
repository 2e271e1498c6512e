"""Examples of bench sheets, of findings, and of what a check answers."""

from __future__ import annotations

from api.description.bodies import Plain
from api.description.examples import DESIGN_ID, SHEET_ID

CLIENT_ID = "8c2b5a1e-95c3-4f62-8a50-53c7a9c5a6f0"
READINGS_EXAMPLE: list[Plain] = [
    {"position": "P", "pin": "2", "against": "1", "reading": "0.4"},
    {"position": "P", "pin": "3", "against": "1", "reading": "OL"},
    {"position": "R", "pin": "2", "against": "1", "reading": "OL"},
    {"position": "R", "pin": "3", "against": "1", "reading": "cont"},
]
SHEET_BODY: Plain = {
    "client_id": CLIENT_ID,
    "design": DESIGN_ID,
    "unit": {"key": "7", "date_code": "0423"},
    "purpose": "known_good",
    "held_good": "worked",
    "source_class": "original",
    "read_at": "bench",
    "meter": {"name": "bench meter", "limit_ohm": 2e7, "lead_ohm": 0.2, "apart_shows": "OL"},
    "measured_it_myself": True,
    "readings": READINGS_EXAMPLE,
}
CHECK_BODY: Plain = {"design": DESIGN_ID, "readings": READINGS_EXAMPLE}
AMEND_BODY: Plain = {**SHEET_BODY, "on_version": 1, "reason": "pin 3 in R had slipped"}
PATCH_BODY: Plain = {
    "on_version": 1,
    "reason": "the unit is an equivalent part",
    "source_class": "equivalent",
}
SHEET_LINE: Plain = {
    "submission": SHEET_ID,
    "origin": "fleet-workshops",
    "design": DESIGN_ID,
    "design_name": "Sweeper selector, five pins",
    "contributor": "c-0f3a9be2d1",
    "unit": "a1f7a0de-6f0b-43f6-8a53-39c94a1e9b5d",
    "date_code": "0423",
    "version": 1,
    "sent": "2026-11-20T09:12:00Z",
    "amended": "2026-11-20T09:12:00Z",
    "withdrawn": None,
    "purpose": "known_good",
    "held_good": "worked",
    "source_class": "original",
    "read_at": "bench",
    "read_on": None,
    "distance_km": None,
    "units_claimed": 1,
    "rereads": None,
    "licence": "CC-BY-SA-4.0",
    "finding": {"finding": "fits", "p": 0.98},
}
OWN_LINE: Plain = {
    **SHEET_LINE,
    "name": f"sheet-{CLIENT_ID}",
    "unit_key": "7",
    "client_id": CLIENT_ID,
    "readings": 4,
}


def _read(row: Plain) -> Plain:
    value = row["reading"] == "0.4"
    kind = {"0.4": "value", "OL": "over_limit", "cont": "continuity"}[row["reading"]]
    figure = 0.4 if value else None
    return {
        **row,
        "sweep": 1,
        "between": False,
        "first_pass": True,
        "kind": kind,
        "low_ohm": figure,
        "high_ohm": figure,
        "limit_ohm": 2e7,
        "lead_ohm": 0.2,
    }


SHEET_EXAMPLE: Plain = {**SHEET_LINE, "readings": [_read(row) for row in READINGS_EXAMPLE], "own": None}
FINDING_EXAMPLE: Plain = {
    "finding": "slip",
    "p": 0.94,
    "submission": SHEET_ID,
    "design": DESIGN_ID,
    "contributor": "c-0f3a9be2d1",
    "revision": 3,
    "revision_state": "published",
    "variant": "a",
    "also": [{"finding": "fits", "p": 0.04}],
    "cells": [{"position": "R", "pin": "3", "against": "1", "between": False}],
    "message": "Fits but for one reading (94 %). Read pin 3 in R again.",
}
BULK_EXAMPLE: Plain = {
    "stored": 1,
    "known": 0,
    "refused": 1,
    "results": [
        {"index": 0, "status": 201, "submission": SHEET_ID, "problem": None},
        {
            "index": 1,
            "status": 400,
            "submission": None,
            "problem": {
                "type": "urn:benchquorum:problem:reading_unreadable",
                "title": "Bad Request",
                "status": 400,
                "code": "reading_unreadable",
                "detail": "“1k2k” is not a resistance.",
                "errors": [
                    {
                        "code": "reading_unreadable",
                        "pointer": "/submissions/1/readings/0/reading",
                        "detail": "“1k2k” is not a resistance.",
                        "advice": "Write 1.2k, 4R7, 0.8 MΩ or OL.",
                    }
                ],
            },
        },
    ],
}
CHECK_EXAMPLE: Plain = {
    "submission": CLIENT_ID,
    "design": "Sweeper selector, five pins",
    "variant": "a",
    "verdict": "faulty",
    "p_good": 0.01,
    "causes": [
        {
            "cause": "line_open",
            "pins": ["3"],
            "positions": [],
            "p": 0.95,
            "group": 1,
            "message": "Line 3 is open in every position.",
        }
    ],
    "next": [{"position": "D", "pin": "3", "against": "1", "bits": 0.41}],
    "unlike": [{"position": "R", "pin": "3", "against": "1", "expected": "closed", "read": "OL"}],
}
IDENTIFY_EXAMPLE: Plain = {
    "candidates": [
        {"design": "Sweeper selector, five pins", "variant": "a", "p": 0.93, "pins": {"2": "4", "3": "2"}}
    ]
}
PREVIEW_EXAMPLE: Plain = {
    "readings": [{"position": "P", "pin": "2", "against": "1", "between": False}],
    "warnings": [],
    "comparison": None,
    "adds": {"units": 4, "contributors": 2, "units_needed": 1, "contributors_needed": 1},
}
IDENTIFY_BODY: Plain = {"readings": READINGS_EXAMPLE, "as_read": False}
