"""Every address with every role: made from the URL table, so that no new address is forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from registry.models import Decision, Design, Dispute, PartNumber, Sheet, User
from tests.api.made import said_again

UNPROVED = "moderator without second factor"
ROLES = ("guest", "owner", "other", "suspended", "moderator", UNPROVED)
METHODS = ("get", "post", "put", "patch", "delete")
NO, LOGIN, YES = "no", "log in", "yes"


@dataclass(frozen=True)
class Address:
    name: str
    parameters: tuple[str, ...]
    route: str


def addresses() -> list[Address]:
    """Every address of the URL table that has a name."""
    return sorted(_walk(get_resolver().url_patterns, ""), key=lambda address: address.route)


def _walk(entries: Any, at: str, before: tuple[str, ...] = ()) -> Iterator[Address]:
    for entry in entries:
        route = at + str(entry.pattern)
        names = before + tuple(entry.pattern.converters or entry.pattern.regex.groupindex)
        if isinstance(entry, URLResolver):
            yield from _walk(entry.url_patterns, route, names)
        elif isinstance(entry, URLPattern):
            yield Address(entry.name or "", names, route)


@dataclass(frozen=True)
class World:
    """One of everything that an address may be about; sheet and dispute are the owner's.

    links: what stands in an address as a token; objects: ids of what only one address is about.
    """

    people: dict[str, User | None]
    design: Design
    sheet: Sheet
    dispute: Dispute
    decision: Decision
    part: PartNumber
    links: dict[str, str] = field(default_factory=dict)
    objects: dict[str, Any] = field(default_factory=dict)

    def client(self, role: str) -> Client:
        client = Client(raise_request_exception=False)
        user = self.people[role]
        if user is not None:
            client.force_login(user)
            said_again(client)
        return client

    def path(self, address: Address) -> str:
        return reverse(address.name, kwargs={name: self._value(address, name) for name in address.parameters})

    def _value(self, address: Address, name: str) -> Any:
        about = {
            "design": self.design.uuid,
            "submission": self.sheet.uuid,
            "dispute": self.dispute.uuid,
            "decision": self.decision.uuid,
            "case": self.sheet.uuid,
            "kind": "sheet",
            "form": "csv",
            "number": 1,
            "order": 1,
            "token": "bq_000",
            "key": "a-key",
            "uidb36": "1",
            "pk": 1,
            "text": "x",
        }
        if name in ("token", "key") and address.name in self.links:
            return self.links[address.name]
        if name in ("uuid", "fact") and address.name in self.objects:
            return self.objects[address.name]
        if name != "uuid":
            return about.get(name, uuid4() if f"<uuid:{name}>" in address.route else "x")
        if address.route.startswith("sheets/") or "case:kind" in address.route:
            return self.sheet.uuid
        by_name = {
            "decision_undo": self.decision.uuid,
            "thread_write": self.dispute.uuid,
            "dispute": self.dispute.uuid,
            "desk_account": self.sheet.contributor.uuid,
            "desk_part": self.part.uuid,
            "unit": self.sheet.unit.uuid,
        }
        return by_name.get(address.name, self.design.uuid if "designs" in address.route else uuid4())


def outcome(answer: Any) -> str:
    """Whether somebody got through: what the address then made of the empty request is another matter.

    What is not found is closed: that is how others' objects are refused.
    """
    location = answer.headers.get("Location", "")
    if answer.status_code == 302 and "/account/login/" in location:
        return LOGIN
    return NO if answer.status_code in (401, 403, 404) else YES
