"""What two decided is taken back by two, and is open again at the desk then."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from registry.models import Decision, Design, Sheet, User
from registry.selectors.queue import queue
from registry.services.cases import case_page
from registry.services.decisions import approve, decide, undo
from registry.services.due_decisions import apply_due
from registry.services.packages.load_charts import load_decisions
from tests.registry.moderation.made import (
    CLOSED,
    group_aside,
    made_design,
    made_sheet,
    newest,
    pattern,
    readers,
)
from tests.registry.moderation.test_variants import tables

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_time_to_answer(settings: Any) -> None:
    settings.BENCHQUORUM_REPLY_DAYS = 0


def by_two(moderators: list[User], decision: Decision) -> Decision:
    assert decision.state == "waiting" and decision.needs_second
    return approve(by=moderators[1], decision=decision)


def test_table_that_two_removed_is_not_brought_back_by_one(moderators: list[User]) -> None:
    people = readers(8)
    design = made_design(people[0])
    for person in people[:6]:
        made_sheet(person, design)
    other = pattern({**CLOSED, "D": "346", "L": "245"})
    sheets = [made_sheet(person, design, other) for person in people[6:]]
    decide(by=moderators[0], kind="split_variant", target_kind="design", target_uuid=design.uuid,
           reason="Another table.",
           payload={"sheets": [str(sheet.uuid) for sheet in sheets], "variant": "b"})  # fmt: skip
    assert set(tables(newest(design))) == {"a", "b"}
    decision = by_two(moderators, group_aside(moderators[0], design, sheets))
    gone = newest(design)
    assert set(tables(gone)) == {"a"}
    back = undo(by=moderators[0], decision=decision, reason="They are not.")
    assert (back.kind, back.state) == ("undo", "waiting")
    assert newest(design) == gone
    approve(by=moderators[1], decision=back)
    assert set(tables(newest(design))) == {"a", "b"}


def test_start_cell_that_two_left_thin_is_not_filled_by_one(
    world: tuple[Design, list[Sheet], list[User]], moderators: list[User]
) -> None:
    design, sheets, _people = world
    before = newest(design).digest
    decision = by_two(moderators, group_aside(moderators[0], design, sheets[:5]))
    thin = newest(design)
    back = undo(by=moderators[0], decision=decision, reason="They are not.")
    assert (back.kind, back.state) == ("undo", "waiting")
    assert newest(design) == thin
    approve(by=moderators[1], decision=back)
    assert newest(design).digest == before


def test_sheet_is_at_the_desk_again_once_its_decision_was_taken_back_by_two(
    world: tuple[Design, list[Sheet], list[User]], moderators: list[User]
) -> None:
    _design, sheets, _people = world

    def waits() -> bool:
        return sheets[5].uuid in {case.uuid for case in queue(kind="sheet")}

    assert waits()
    decision = decide(by=moderators[0], kind="set_aside", target_kind="sheet", target_uuid=sheets[5].uuid,
                      reason="It is so.")  # fmt: skip
    Decision.objects.filter(pk=decision.pk).update(needs_second=True)  # as where it touched a start position
    back = undo(by=moderators[0], decision=decision, reason="It is not.")
    assert back.state == "waiting" and not waits()
    approve(by=moderators[1], decision=back)
    assert waits()


OWN = uuid.uuid4()


@pytest.mark.parametrize(
    "payload", [{}, {"decision": None}, {"decision": "first"}, {"decision": str(uuid.uuid4())},
                {"decision": str(OWN)}],
)  # fmt: skip
def test_undo_from_elsewhere_that_names_nothing_to_take_back_lapses(
    world: tuple[Design, list[Sheet], list[User]], moderators: list[User], payload: dict[str, Any]
) -> None:
    _design, sheets, _people = world
    now = timezone.now()
    row = {
        "decision": OWN, "origin": "", "kind": "undo", "target_kind": "sheet", "target": sheets[5].uuid,
        "target_cell": None, "payload": payload, "reason": "So.", "needs_second": False, "state": "waiting",
        "made_at": now, "effective_at": now, "undone_at": None,
    }  # fmt: skip
    load_decisions([row])
    assert case_page(by=moderators[0], kind="decision", uuid=OWN).decision is not None
    assert any(case.uuid == sheets[5].uuid for case in queue())
    assert apply_due(now=now + timedelta(days=1)) == 0  # and raises nothing
    decision = Decision.objects.get(uuid=OWN)
    assert (decision.state, decision.before["refused_because"]) == ("refused", ["decision_not_in_force"])
