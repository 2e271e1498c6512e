"""A made-up switch with sheets of known-good units, for the tests of the pages and the walks."""

from __future__ import annotations

import uuid
from typing import Any

from registry.models import Design, Sheet, User
from registry.services.accounts import workshop_join
from registry.services.catalogue import design_propose
from registry.services.sheets import sheet_submit

POSITIONS = (("P", "park"), ("R", "reverse"), ("N", "neutral"), ("D", "drive"), ("L", "low"))
PINS = ("1", "2", "3", "4", "5", "6")
# lines closed to the common in each position
CLOSED = {"P": "26", "R": "346", "N": "256", "D": "35", "L": "2345"}


def account(name: str, workshop: str = "") -> User:
    user = User.objects.create_user(f"{name}@workshop.example", "a long pass phrase")
    if workshop:
        workshop_join(by=user, name=workshop)
    return user


def made_design(by: User, name: str = "Ferry selector 12", **changes: Any) -> Design:
    body = {
        "name": name,
        "maker": "Orbel & Daughters",
        "families": ["Orbel slow four"],
        "part_numbers": [f"OD-{name}"],
        "applications": [{"vehicle": "River ferry, auxiliary drive", "year_from": 2008, "year_to": 2015}],
        "positions": [
            {"label": label, "name": spoken, "releases_starter": label in "PN"} for label, spoken in POSITIONS
        ],
        "pins": list(PINS),
        "common": "1",
        "landmark": "rib above pin 1",
        "viewing": "into_switch",
        **changes,
    }
    return design_propose(by=by, body=body)


def reading_of(position: str, pin: str) -> str:
    """What a good unit shows."""
    return "0.4" if pin in CLOSED[position] else "OL"


def readings(**changed: str) -> list[dict[str, Any]]:
    """changed: readings that differ, by position and pin as in `R4="OL"`."""
    return [
        {
            "position": position,
            "pin": pin,
            "against": "1",
            "reading": changed.get(f"{position}{pin}", reading_of(position, pin)),
        }
        for position in CLOSED
        for pin in PINS[1:]
    ]


def sheet_json(design: Design, unit: str = "sweeper 3", **changes: Any) -> dict[str, Any]:
    return {
        "client_id": str(uuid.uuid4()),
        "design": str(design.uuid),
        "unit": {"key": unit},
        "source_class": "original",
        "measured_it_myself": True,
        "readings": readings(),
        **changes,
    }


def made_sheet(by: User, design: Design, unit: str = "sweeper 3", **changes: Any) -> Sheet:
    return sheet_submit(by=by, body=sheet_json(design, unit, **changes))


def made_evidence(design: Design, people: int = 4) -> list[User]:
    """One good unit each from so many people of as many workshops; the chart is computed on commit."""
    readers = [account(f"reader-{n}", f"Yard {n}") for n in range(people)]
    for n, reader in enumerate(readers):
        made_sheet(reader, design, f"unit {n}")
    return readers
