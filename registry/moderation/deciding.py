"""A form of the desk that decides about one thing: what was asked becomes a decision, or errors."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest

from registry.errors import RegistryError, RegistryErrors
from registry.moderation.guard import person
from registry.moderation.words import decided_words
from registry.services.decisions import decide

Asked = tuple[str, dict[str, Any]]  # kind of decision, payload


def decide_posted(
    request: HttpRequest, target_kind: str, uuid: UUID, asked: Callable[[HttpRequest], Asked]
) -> list[RegistryError]:
    """Decide, and say so on the next page; what is wrong where it could not be decided, else nothing."""
    try:
        kind, payload = asked(request)
        decision = decide(
            by=person(request),
            kind=kind,
            target_kind=target_kind,
            target_uuid=uuid,
            payload=payload,
            reason=request.POST.get("reason", ""),
            seen=request.POST.get("seen") or None,
        )
    except RegistryErrors as problems:
        return list(problems)
    messages.success(request, decided_words(decision))
    return []
