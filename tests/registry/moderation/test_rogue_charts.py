"""What one moderator alone can't do to a chart that readers are shown, by whatever detour."""

from __future__ import annotations

import json
from typing import Any

import pytest

from registry.bridge.corrections import suggested_correction
from registry.models import ChartRevision, CurrentChart, Decision, Design, Sheet, User
from registry.services.decisions import approve, decide, undo
from registry.services.sheets import sheet_submit
from tests.registry.moderation.made import (
    CLOSED,
    group_aside,
    made_design,
    made_sheet,
    newest,
    pattern,
    readers,
    sheet_json,
)

pytestmark = pytest.mark.django_db
State = ChartRevision.State
World = tuple[Design, list[Sheet], list[User]]


@pytest.fixture(autouse=True)
def no_time_to_answer(settings: Any) -> None:
    settings.BENCHQUORUM_REPLY_DAYS = 0


def published(by: User, revision: ChartRevision) -> Decision:
    about = {"target_kind": "revision", "target_uuid": revision.uuid}
    return decide(by=by, kind="publish", reason="It is right.", **about)


def is_shown(design: Design) -> bool:
    return CurrentChart.objects.filter(design=design).exists()


@pytest.fixture
def recalled(moderators: list[User]) -> tuple[Design, list[User]]:
    """A design whose only chart two moderators withdrew."""
    people = readers(6)
    design = made_design(people[0])
    made_sheet(people[0], design)
    about = {"target_kind": "revision", "target_uuid": newest(design).uuid}
    withdrawal = decide(by=moderators[0], kind="withdraw_revision", reason="Wrong face.", **about)
    approve(by=moderators[1], decision=withdrawal)
    assert not is_shown(design)
    return design, people


def test_recall_is_not_published_again_by_one(
    recalled: tuple[Design, list[User]], moderators: list[User]
) -> None:
    design, _people = recalled
    decision = published(moderators[0], newest(design))
    assert decision.state == "waiting" and not is_shown(design)
    approve(by=moderators[1], decision=decision)
    assert is_shown(design)


def test_recall_holds_however_many_sheets_come(
    recalled: tuple[Design, list[User]], moderators: list[User]
) -> None:
    design, people = recalled
    for person in people[1:5]:
        made_sheet(person, design)
        assert newest(design).state == State.HELD and not is_shown(design)
    hold = {"kind": "hold", "target_kind": "revision", "target_uuid": newest(design).uuid}
    decide(by=moderators[0], reason="Not yet.", **hold)
    made_sheet(people[5], design)
    assert newest(design).state == State.HELD and not is_shown(design)
    decision = published(moderators[0], newest(design))
    assert decision.state == "waiting"
    approve(by=moderators[1], decision=decision)
    made_sheet(people[1], design)
    assert newest(design).state == State.PUBLISHED  # two have brought it back: it grows as any other


def test_recall_is_not_brought_back_by_a_decision_about_a_sheet(
    recalled: tuple[Design, list[User]], moderators: list[User]
) -> None:
    design, people = recalled
    sheets = [made_sheet(person, design) for person in people[1:4]]
    about = {"kind": "set_aside", "target_kind": "sheet", "target_uuid": sheets[2].uuid}
    decision = decide(by=moderators[0], reason="A copy.", **about)
    assert decision.state == "in_force"
    assert newest(design).state == State.HELD and not is_shown(design)
    undo(by=moderators[0], decision=decision, reason="It is none.")
    assert newest(design).state == State.HELD and not is_shown(design)


def test_start_position_is_not_turned_by_a_detour_over_few_sheets(
    world: World, moderators: list[User]
) -> None:
    design, sheets, _people = world
    mirrored = suggested_correction(sheets[5].finding.body)
    assert group_aside(moderators[0], design, sheets[1:]).state == "in_force"  # thin now, and as it was
    about = {"kind": "correct", "target_kind": "sheet", "target_uuid": sheets[0].uuid}
    decision = decide(by=moderators[0], reason="Read it so.", payload={"correction": mirrored}, **about)
    assert decision.state == "waiting"
    assert closed(design, "N") == CLOSED["N"]
    approve(by=moderators[1], decision=decision)
    assert closed(design, "N") != CLOSED["N"]


def closed(design: Design, position: str) -> str:
    content = json.loads(bytes(CurrentChart.objects.get(design=design).revision.content))
    cells = content["variants"][0]["cells"]
    return "".join(c["pin"] for c in cells if c["position"] == position and c["state"] == "closed")


def test_start_position_is_not_taken_out_of_a_chart_by_one(moderators: list[User]) -> None:
    people = readers(8)
    design = made_design(people[0])
    whole = [made_sheet(person, design) for person in people[:4]]
    rest = pattern({position: pins for position, pins in CLOSED.items() if position != "P"})
    for person in people[4:]:
        sheet_submit(by=person, body=sheet_json(design, rest))
    decision = group_aside(moderators[0], design, whole)
    assert decision.state == "waiting"
    assert closed(design, "P") == CLOSED["P"]
    approve(by=moderators[1], decision=decision)
    assert closed(design, "P") == ""


def merged(by: User, source: Design, there: Design) -> Decision:
    about = {"target_kind": "design", "target_uuid": source.uuid, "payload": {"design": str(there.uuid)}}
    return decide(by=by, kind="merge_designs", reason="The same switch.", **about)


def test_design_with_settled_start_cells_is_not_merged_away_by_one(moderators: list[User]) -> None:
    people = readers(5)
    design, other = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry 13")
    for person in people:
        made_sheet(person, design)
    made_sheet(people[0], other, pattern({**CLOSED, "P": "35"}))
    decision = merged(moderators[0], design, other)
    assert decision.state == "waiting"
    approve(by=moderators[1], decision=decision)
    design.refresh_from_db()
    assert design.merged_into == other
    back = undo(by=moderators[0], decision=decision, reason="Another switch.")
    assert back.state == "waiting"
    approve(by=moderators[1], decision=back)
    assert merged(moderators[0], other, design).state == "in_force"  # nobody relied on that one


@pytest.mark.parametrize("change", [[["viewing"], "into_plug"], [["landmark"], "rib below pin 1"]])
def test_pins_of_a_chart_with_settled_start_cells_are_not_turned_round_by_one(
    moderators: list[User], change: list[Any]
) -> None:
    people = readers(5)
    design = made_design(people[0])

    def edit() -> Decision:
        design.refresh_from_db()
        payload = {"on_edit": design.edit_number, "set": [change]}
        about = {"target_kind": "design", "target_uuid": design.uuid, "payload": payload}
        return decide(by=moderators[0], kind="edit_design", reason="Seen so.", **about)

    undo(by=moderators[0], decision=edit(), reason="Not yet.")
    for person in people:
        made_sheet(person, design)
    assert edit().state == "waiting"
