"""A decision that waits is looked at again when its time has come."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.models import Design, Sheet, User
from registry.services.decisions import decide
from registry.services.due_decisions import apply_due
from tests.registry.moderation.made import made_design

pytestmark = pytest.mark.django_db


def test_what_became_impossible_while_it_waited_lapses(
    world: tuple[Design, list[Sheet], list[User]], moderators: list[User]
) -> None:
    _design, sheets, people = world
    there, gone_into = (made_design(people[0], name) for name in ("Ferry 12", "Ferry 13"))
    decision = decide(
        by=moderators[0],
        kind="move",
        target_kind="sheet",
        target_uuid=sheets[4].uuid,
        reason="It was the other lever.",
        payload={"design": str(there.uuid)},
    )
    assert decision.state == "waiting"
    Design.objects.filter(pk=there.pk).update(merged_into=gone_into)
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 0
    decision.refresh_from_db()
    assert (decision.state, decision.before["refused_because"]) == ("refused", ["design_merged"])
