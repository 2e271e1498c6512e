"""Made-up accounts, designs and charts for the tests of the API."""

from __future__ import annotations

import hashlib
import json
import time
import uuid
from datetime import UTC, datetime
from typing import Any

from allauth.mfa.models import Authenticator
from django.contrib.auth.models import Group
from django.test import Client

from registry.models import ChartRevision, CurrentChart, Design, User
from registry.permissions import MODERATORS
from registry.services.catalogue import design_propose
from registry.services.tokens import token_make

PUBLISHED = datetime(2026, 11, 20, 9, 30, tzinfo=UTC)


def made_user(name: str = "reader", **more: Any) -> User:
    return User.objects.create_user(f"{name}@workshop.example", "a long pass phrase", **more)


def made_moderator() -> User:
    """One of the desk, with the second factor that it takes."""
    user = made_user("desk")
    user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={})
    return user


def made_token(user: User, *scopes: str) -> str:
    """The header's value."""
    _token, secret = token_make(by=user, name="test", scopes=scopes or ("read", "submit"))
    return f"Token {secret}"


def said_again(client: Client) -> None:
    """Whoever is signed in has said their password once more, just now."""
    session = client.session
    record = {"method": "password", "at": time.time(), "reauthenticated": True}
    session["account_authentication_methods"] = [record]
    session["account_authentication_methods_user"] = session["_auth_user_id"]
    session.save()


def design_body(name: str = "Sweeper selector", *, pins: int = 5, positions: str = "PRND") -> dict[str, Any]:
    return {
        "name": name,
        "maker": "Aldmoor Works",
        "families": ["Aldmoor 3-speed"],
        "part_numbers": [f"AW-{name}"],
        "applications": [{"vehicle": "Street sweeper", "year_from": 2011, "year_to": 2019}],
        "positions": [{"label": label, "releases_starter": label in "PN"} for label in positions],
        "pins": [str(n) for n in range(1, pins + 1)],
        "common": "1",
        "landmark": "rib above pin 1",
        "viewing": "into_switch",
    }


def made_design(by: User, name: str = "Sweeper selector", **shape: Any) -> Design:
    return design_propose(by=by, body=design_body(name, **shape))


def cell(position: str, pin: str, state: str, **more: Any) -> dict[str, Any]:
    return {
        "position": position,
        "pin": pin,
        "against": "1",
        "between": False,
        "state": state,
        "p_open": 0.999 if state == "open" else 0.001,
        "standing": "provisional",
        "units": 4,
        "agreeing": 4,
        "contributors": 2,
        "agreement": [0.4, 1.0],
        "ohm": None,
        **more,
    }


def chart_content(design: Design, cells: list[dict[str, Any]]) -> dict[str, Any]:
    """A chart of one variant, in the stored form."""
    labels = [position.label for position in design.positions.all()]
    variant = {"variant": "a", "share": 1.0, "submissions": 4, "units": 4, "contributors": 2, "cells": cells}
    return {
        "format": "benchquorum/chart/1",
        "engine": "test",
        "design": {
            "uuid": str(design.uuid),
            "name": design.name,
            "positions": labels,
            "pins": ["1", "2", "3", "4", "5"],
            "common": "1",
        },
        "variants": [variant],
        "contributors": 2,
        "submissions": [],
    }


def made_revision(design: Design, number: int = 1, *, state: str = "published", **more: Any) -> ChartRevision:
    """A stored revision; its cells are given, not computed: the API serves bytes and asks nothing of them."""
    cells = more.pop("cells", None) or [cell("R", "4", "closed", units=3 + number)]
    content = json.dumps(chart_content(design, cells), sort_keys=True, separators=(",", ":")).encode()
    public = state in ("published", "withdrawn")
    revision = ChartRevision.objects.create(
        design=design,
        number=number,
        digest=hashlib.sha256(f"{design.uuid}{number}".encode()).hexdigest(),
        content=content,
        content_sha256=hashlib.sha256(content).hexdigest(),
        inputs={},
        state=state,
        published_at=PUBLISHED if public else None,
        withdrawn_at=PUBLISHED if state == "withdrawn" else None,
        **more,
    )
    if public:
        CurrentChart.objects.update_or_create(
            design=design,
            defaults={
                "revision": revision,
                "standing": "provisional",
                "cells": 1,
                "units": 4,
                "contributors": 2,
            },
        )
    return revision


def sheet_body(design: Design, **more: Any) -> dict[str, Any]:
    """A bench sheet of a whole unit: pin 2 closed in P, pin 3 in R, pin 4 in N, pin 5 in D."""
    closed = {"P": "2", "R": "3", "N": "4", "D": "5"}
    readings = [
        {"position": position, "pin": pin, "against": "1", "reading": "0.4" if pin == own else "OL"}
        for position, own in closed.items()
        for pin in "2345"
    ]
    return {
        "client_id": str(uuid.uuid4()),
        "design": str(design.uuid),
        "unit": {"key": "7", "tag_code": "ward-3"},
        "held_good": "worked",
        "source_class": "original",
        "read_at": "bench",
        "measured_it_myself": True,
        "note": "my number is 555 0100",
        "readings": readings,
        **more,
    }
