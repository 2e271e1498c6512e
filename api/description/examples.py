"""Invented values for the description: one for every operation."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiExample

Plain = dict[str, Any]
SHEET_ID = "0d0f8a52-4f0e-4f0d-9a57-7b3a3b0a2f31"
DISPUTE_ID = "2f6d0f8e-6f5f-4b76-9d5a-0d8a5b8f7e10"
DECISION_ID = "c0a4b7be-2f6b-4b8d-8f7a-6f2f4e1b9a55"
DESIGN_ID = "6b0e5f0a-6a44-4a55-9d29-1d9f0f2b7c11"
DIGEST = "3f7a52c4d0c8b1e6a9f04b6d2e8c7a15f3b9d6e0c4a8172b5d3f9e6c0a7b4d18"

FIGURES: Plain = {
    "revision": 3,
    "published": "2026-11-20T09:30:00Z",
    "digest": DIGEST,
    "standing": "agreed",
    "cells": 15,
    "cells_agreed": 15,
    "units": 11,
    "contributors": 7,
}
DESIGN_LINE: Plain = {
    "uuid": DESIGN_ID,
    "design": DESIGN_ID,
    "origin": "fleet-workshops",
    "name": "Sweeper selector, five pins",
    "maker": "Aldmoor Works",
    "families": ["Aldmoor 3-speed"],
    "part_numbers": [{"number": "AW 30-115", "source_class": "original"}],
    "state": "confirmed",
    "actuation": "lever",
    "positions": ["P", "R", "N", "D"],
    "pins": ["1", "2", "3", "4", "5"],
    "common": "1",
    "chart": FIGURES,
}
DESIGN: Plain = {
    **DESIGN_LINE,
    "description": "Fitted to the auxiliary drive of small sweepers.",
    "connector": {
        "landmark": "rib above pin 1",
        "viewing": "into_switch",
        "common": "1",
        "pins": [
            {"label": str(n), "row": 1, "column": n, "empty": False, "line_name": ""} for n in range(1, 6)
        ],
    },
    "detents": [
        {
            "step": n,
            "label": label,
            "name": name,
            "releases_starter": label in "PN",
            "aliases": [],
        }
        for n, (label, name) in enumerate(
            [("P", "park"), ("R", "reverse"), ("N", "neutral"), ("D", "drive")], start=1
        )
    ],
    "applications": [
        {"vehicle": "Aldmoor street sweeper", "family": None, "year_from": 2011, "year_to": 2019}
    ],
    "start_known": True,
    "edit": 0,
    "proposed_by": "c-0f3a9be2d1",
    "replaces": [],
    "replaced_by": [],
}
DESIGN_BODY: Plain = {
    "name": "Sweeper selector, five pins",
    "maker": "Aldmoor Works",
    "families": ["Aldmoor 3-speed"],
    "part_numbers": ["AW 30-115"],
    "applications": [{"vehicle": "Aldmoor street sweeper", "year_from": 2011, "year_to": 2019}],
    "positions": [
        {"label": "P", "name": "park", "releases_starter": True, "aliases": []},
        {"label": "R", "name": "reverse"},
        {"label": "N", "name": "neutral", "releases_starter": True},
        {"label": "D", "name": "drive"},
    ],
    "pins": ["1", "2", "3", "4", "5"],
    "common": "1",
    "landmark": "rib above pin 1",
    "viewing": "into_switch",
    "actuation": "lever",
    "description": "Fitted to the auxiliary drive of small sweepers.",
}


def as_text(name: str, media_type: str, begins: str) -> OpenApiExample:
    """How an answer that is no JSON begins."""
    return OpenApiExample(name, value=begins, media_type=media_type, response_only=True, status_codes=["200"])
