"""Requests to read a unit again: answered by a sheet that names the first; reminded of once."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial
from typing import Any

from django.utils import timezone

from registry.models import Decision, Sheet
from registry.services.notices import notify
from registry.services.one_by_one import OneByOne

DAYS_BEFORE = 2


def open_rereads() -> list[Decision]:
    """Requests in force that no sheet has answered yet."""
    asked = Decision.objects.filter(kind=Decision.Kind.ASK_REREAD, state=Decision.State.IN_FORCE)
    answered = set(
        Sheet.objects.filter(rereads__uuid__in=asked.values("target_uuid")).values_list(
            "rereads__uuid", flat=True
        )
    )
    return [decision for decision in asked.order_by("pk") if decision.target_uuid not in answered]


def remind_rereads(*, today: date | None = None) -> int:
    """Tell those whose day is near or over, once; how many were told.

    Raises SomeFailed, after all of them.
    """
    reminders = OneByOne("reminders to read a unit again")
    for decision in open_rereads():
        reminders.run(partial(_remind, decision, today or timezone.localdate()))
    return reminders.end()


def reread_tell(decision: Decision, code: str, **more: Any) -> None:
    """Whoever sent the sheet gets this notice of the request."""
    sheet = Sheet.objects.select_related("contributor__user", "design").get(uuid=decision.target_uuid)
    notify(
        sheet.contributor.user,
        code,
        sheet=str(sheet.uuid),
        design=sheet.design.name,
        deadline=decision.payload["deadline"],
        **more,
    )


def _remind(decision: Decision, today: date) -> int:
    decision = Decision.objects.select_for_update(no_key=True).get(pk=decision.pk)
    deadline = date.fromisoformat(decision.payload["deadline"])
    if decision.state != Decision.State.IN_FORCE or decision.before.get("reminded"):
        return 0  # another process was quicker
    if deadline - timedelta(days=DAYS_BEFORE) > today:
        return 0
    reread_tell(decision, "reread_due")
    decision.before["reminded"] = today.isoformat()
    decision.save(update_fields=["before"])
    return 1
