"""A made-up registry for the desk: one design, workshops that read it, moderators who did not."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.models import Group

from registry.models import ChartRevision, Decision, Design, Sheet, User
from registry.permissions import MODERATORS
from registry.services.accounts import workshop_join
from registry.services.catalogue import design_propose
from registry.services.decisions import decide
from registry.services.sheets import sheet_submit

POSITIONS = ("P", "R", "N", "D", "L")
PINS = ("1", "2", "3", "4", "5", "6")
# pins closed to the common in each position: no face of the connector looks like the other
CLOSED = {"P": "26", "R": "346", "N": "256", "D": "35", "L": "2345"}
STARTS = ("P", "N")


def account(name: str, *, workshop: str = "", moderator: bool = False, password: str | None = None) -> User:
    """Without a password by default: hashing one is slow on purpose."""
    user = User.objects.create_user(f"{name}@workshop.example", password)
    if workshop:
        workshop_join(by=user, name=workshop)
    if moderator:
        user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    return user


def design_json(name: str = "Ferry selector 12", **changes: Any) -> dict[str, Any]:
    return {
        "name": name,
        "maker": "Orbel & Daughters",
        "positions": [{"label": label, "releases_starter": label in STARTS} for label in POSITIONS],
        "pins": list(PINS),
        "common": "1",
        "landmark": "rib above pin 1",
        "viewing": "into_switch",
        "part_numbers": [f"OD-{name}"],
        **changes,
    }


def made_design(by: User, name: str = "Ferry selector 12", **changes: Any) -> Design:
    return design_propose(by=by, body=design_json(name, **changes))


def pattern(closed: dict[str, str] = CLOSED, pins: tuple[str, ...] = PINS) -> dict[tuple[str, str], str]:
    """What a good unit reads, by position and pin against the common."""
    return {
        (position, pin): "0.4" if pin in shut else "OL"
        for position, shut in closed.items()
        for pin in pins[1:]
    }


def mirrored(readings: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    """The lines numbered from the other face, the common named rightly."""
    lines = PINS[1:]
    face = dict(zip(lines, reversed(lines), strict=True))
    return {(position, face[pin]): reading for (position, pin), reading in readings.items()}


def sheet_json(design: Design, readings: dict[tuple[str, str], str], **changes: Any) -> dict[str, Any]:
    return {
        "client_id": str(uuid.uuid4()),
        "design": str(design.uuid),
        "unit": {"key": f"shelf {uuid.uuid4().hex[:6]}"},
        "measured_it_myself": True,
        "readings": [
            {"position": position, "pin": pin, "against": "1", "reading": reading}
            for (position, pin), reading in readings.items()
        ],
        **changes,
    }


def made_sheet(by: User, design: Design, readings: dict[tuple[str, str], str] | None = None) -> Sheet:
    return sheet_submit(by=by, body=sheet_json(design, readings or pattern()))


def newest(design: Design) -> ChartRevision:
    return design.revisions.order_by("-number").first()  # type: ignore[return-value]


def readers(count: int) -> list[User]:
    return [account(f"reader{n}", workshop=f"yard {n}") for n in range(count)]


def group_aside(by: User, design: Design, sheets: list[Sheet]) -> Decision:
    payload = {"sheets": [str(sheet.uuid) for sheet in sheets]}
    about = {"target_kind": "design", "target_uuid": design.uuid}
    return decide(by=by, kind="set_aside", reason="They are copies.", payload=payload, **about)
