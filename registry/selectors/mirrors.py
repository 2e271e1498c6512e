"""Whether this registry is a mirror, and what a change elsewhere is about here."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.core.exceptions import ValidationError

from registry.models import MirrorSource
from registry.selectors.designs_about import designs_about


def mirror_source() -> MirrorSource | None:
    """The registry that this one is a read-only mirror of, and when it was asked last."""
    return MirrorSource.objects.filter(mode=MirrorSource.Mode.MIRROR).first()


_HEARD: ContextVar[list[str | None] | None] = ContextVar("mirror_of", default=None)


@contextmanager
def mirror_asked_once() -> Iterator[None]:
    """For one request, whose view and services ask the same: the database hears it once."""
    token = _HEARD.set([])
    try:
        yield
    finally:
        _HEARD.reset(token)


def mirror_of() -> str | None:
    """The address of the registry that this one is a read-only mirror of."""
    heard = _HEARD.get()
    if heard:
        return heard[0]
    source = mirror_source()
    url = None if source is None else source.url
    if heard is not None:
        heard.append(url)
    return url


def is_mirror() -> bool:
    return mirror_of() is not None


def designs_of_decision(decision: dict[str, Any]) -> list[str]:
    """Ids of the designs here that a decision (of the API) is about, where its line names none."""
    target, kind = decision.get("target"), decision.get("target_kind")
    if not target or not isinstance(kind, str):
        return []
    try:
        return [str(uuid) for uuid in designs_about(kind, target)]
    except ValidationError:
        return []
