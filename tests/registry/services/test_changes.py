"""A decision stands in the feed of each design that it is about, whatever its target is."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from registry.models import Change, ChartRevision, Decision, Design
from registry.services.changes import change_of_deed
from registry.services.charts import chart_refresh
from registry.services.decisions import decide, undo
from tests.registry.moderation.made import account, made_design, made_sheet, readers

pytestmark = pytest.mark.django_db


@pytest.fixture
def design() -> Design:
    people = readers(3)
    made = made_design(people[0])
    for person in people:
        made_sheet(person, made)
    chart_refresh(design_id=made.pk)
    return made


def told_of(decision: Decision) -> list[tuple[str, uuid.UUID | None]]:
    rows = Change.objects.filter(payload__decision=str(decision.uuid)).order_by("pk")
    return list(rows.values_list("kind", "design_uuid"))


def in_force(**decision: Any) -> Decision:
    """Only its line of the feed is of interest."""
    made = Decision.objects.create(state="in_force", reason="It is so.", **decision)
    change_of_deed("decision_in_force", None, {"decision": str(made.uuid)})
    return made


def test_one_about_a_sheet_when_it_takes_effect_and_when_it_is_undone(design: Design, settings: Any) -> None:
    settings.BENCHQUORUM_REPLY_DAYS = 0
    moderator, sheet = account("desk", moderator=True), design.sheets.latest("pk")
    decision = decide(
        by=moderator, kind="set_aside", target_kind="sheet", target_uuid=sheet.uuid, reason="It is so."
    )
    undo(by=moderator, decision=decision, reason="It was not so.")
    assert told_of(decision) == [("decision_in_force", design.uuid), ("decision_undone", design.uuid)]


def test_one_about_a_revision_a_variant_or_a_part_number(design: Design) -> None:
    revision = ChartRevision.objects.latest("pk")
    part = design.part_numbers.get()
    other = made_design(account("else"), "Another selector")
    other.part_numbers.add(part)
    line = ("decision_in_force", design.uuid)
    assert told_of(in_force(kind="withdraw_revision", target_kind="revision", target_uuid=revision.uuid)) == [
        line
    ]
    assert told_of(in_force(kind="split_variant", target_kind="variant", target_uuid=design.uuid)) == [line]
    both = [line, ("decision_in_force", other.uuid)]
    assert told_of(in_force(kind="merge_parts", target_kind="part_number", target_uuid=part.uuid)) == both


def test_one_that_moves_a_sheet_is_told_at_both_ends(design: Design) -> None:
    other, sheet = made_design(account("else"), "Another selector"), design.sheets.latest("pk")
    payload = {"design": str(other.uuid)}
    moved = in_force(kind="move", target_kind="sheet", target_uuid=sheet.uuid, payload=payload)
    assert [to for _kind, to in told_of(moved)] == [design.uuid, other.uuid]


def test_one_about_an_account_is_told_once_and_names_no_design() -> None:
    decision = in_force(kind="set_aside_account", target_kind="account", target_uuid=uuid.uuid4())
    assert told_of(decision) == [("decision_in_force", None)]
