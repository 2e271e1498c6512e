"""Recall: who follows a design or fetched a revision hears when it is withdrawn or replaced."""

from __future__ import annotations

import json
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db.models import Q

from registry.models import ChartRevision, Design, RevisionFetch, User
from registry.selectors.tolerance import changes_beyond
from registry.services.notices import notify


def revision_fetched(*, by: User | AnonymousUser, revision: ChartRevision) -> None:
    """Somebody signed in took this revision along (page, print, API): they hear of its withdrawal."""
    if isinstance(by, User):
        RevisionFetch.objects.get_or_create(
            user=by, revision=revision, defaults={"design_id": revision.design_id}
        )


def concerned(design: Design, revision: ChartRevision | None = None) -> list[User]:
    """Followers of the design, those who fetched the revision, those whose sheets are in it."""
    who = Q(follows__design=design)
    if revision is not None:
        who |= Q(fetches__revision=revision)
    who |= Q(contributor__sheets__design=design)
    return list(User.objects.filter(who, is_active=True).distinct().order_by("pk"))


def tell_recall(revision: ChartRevision) -> int:
    """A withdrawn revision: everybody who may have it is told, with the reason; how many."""
    people = concerned(revision.design, revision)
    for user in people:
        notify(
            user,
            "revision_withdrawn",
            design=str(revision.design.uuid),
            name=revision.design.name,
            number=revision.number,
            reason=revision.withdrawn_reason,
        )
    return len(people)


def tell_change(revision: ChartRevision, before: dict[str, Any] | None) -> int:
    """A new published revision: told only where something moved beyond its tolerance; how many were."""
    if before is None:
        changed: list[dict[str, Any]] = []
        people = list(User.objects.filter(follows__design=revision.design, is_active=True))
    else:
        changed = changes_beyond(before, json.loads(bytes(revision.content)))
        people = concerned(revision.design) if changed else []
    for user in people:
        notify(
            user,
            "chart_changed",
            design=str(revision.design.uuid),
            name=revision.design.name,
            number=revision.number,
            first=before is None,
            cells=changed[:20],
            more=max(0, len(changed) - 20),
        )
    return len(people)
