"""Part numbers, moved sheets and whole accounts: what was decided goes back exactly."""

from __future__ import annotations

import json

import pytest

from registry.models import PartNumber
from registry.selectors.supersession import pattern_answer
from registry.services.decisions import decide, undo
from registry.services.disputes import dispute_open
from tests.registry.moderation.made import (
    CLOSED,
    made_design,
    made_sheet,
    newest,
    pattern,
)

pytestmark = pytest.mark.django_db


def part(number: str) -> PartNumber:
    return PartNumber.objects.get(number=number)


def test_part_numbers_merge_and_unmerge(people, moderators):
    made_design(people[0], "Ferry 12", part_numbers=["OD 1204", "OD 1204-A"])
    decision = decide(
        by=moderators[0],
        kind="merge_parts",
        target_kind="part_number",
        target_uuid=part("OD 1204-A").uuid,
        payload={"part": str(part("OD 1204").uuid)},
        reason="Two ways of writing it.",
    )
    assert part("OD 1204-A").merged_into == part("OD 1204")
    undo(by=moderators[0], decision=decision, reason="The A is another plug.")
    assert part("OD 1204-A").merged_into is None


@pytest.mark.parametrize(("changed", "answer", "confirmed"), [({}, "yes", True), ({"R": "34"}, "no", False)])
def test_data_confirm_or_deny_that_the_pattern_stayed(people, moderators, changed, answer, confirmed):
    older = made_design(people[0], "Ferry 12", part_numbers=["OD 1204"])
    newer = made_design(people[0], "Ferry 13", part_numbers=["OD 1304"])
    for person in people:
        made_sheet(person, older)
        made_sheet(person, newer, pattern({**CLOSED, **changed}))
    decide(
        by=moderators[0],
        kind="supersede",
        target_kind="part_number",
        target_uuid=part("OD 1204").uuid,
        payload={"newer": str(part("OD 1304").uuid), "same_pattern": "yes"},
        reason="On the bag.",
    )
    found = pattern_answer(part("OD 1204"), part("OD 1304"))
    assert found.answer == answer
    assert found.confirms("yes") is confirmed
    assert found.confirms("unknown") is None


def test_moved_sheet_counts_elsewhere_until_it_is_moved_back(people, moderators, settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    here, there = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry 13")
    sheets = [made_sheet(person, here) for person in people]
    made_sheet(people[0], there)
    before = newest(here).digest, newest(there).digest
    move = decide(
        by=moderators[0],
        kind="move",
        target_kind="sheet",
        target_uuid=sheets[3].uuid,
        payload={"design": str(there.uuid)},
        reason="The number on the unit is 13.",
    )
    assert json.loads(bytes(newest(there).content))["counts"]["submissions"] == 2
    assert json.loads(bytes(newest(here).content))["counts"]["submissions"] == 3
    undo(by=moderators[0], decision=move, reason="No.")
    assert (newest(here).digest, newest(there).digest) == before


def test_all_sheets_of_an_account_in_one_act(people, moderators):
    designs = [made_design(people[0], name) for name in ("Ferry 12", "Ferry 13")]
    for design in designs:
        for person in people:
            made_sheet(person, design)
    before = [newest(design).digest for design in designs]
    contributor = people[3].contributor
    act = decide(
        by=moderators[0],
        kind="set_aside_account",
        target_kind="account",
        target_uuid=contributor.uuid,
        reason="Copied from one sheet.",
    )
    for design in designs:
        names = {entry["submission"] for entry in json.loads(bytes(newest(design).content))["submissions"]}
        assert not names & {str(sheet.uuid) for sheet in contributor.sheets.all()}
    undo(by=moderators[0], decision=act, reason="They were real.")
    assert [newest(design).digest for design in designs] == before


def test_suspended_account_can_appeal_and_nothing_else(people, moderators):
    from django.core.exceptions import PermissionDenied

    design = made_design(people[0])
    decide(
        by=moderators[0],
        kind="suspend",
        target_kind="account",
        target_uuid=people[3].contributor.uuid,
        reason="Copied from one sheet.",
    )
    people[3].refresh_from_db()
    with pytest.raises(PermissionDenied):
        made_sheet(people[3], design)
    with pytest.raises(PermissionDenied):
        dispute_open(by=people[3], target_kind="design", target_uuid=design.uuid, reason="No.")
    appeal = dispute_open(
        by=people[3], target_kind="account", target_uuid=people[3].contributor.uuid, reason="I read them."
    )
    assert appeal.state == "open"
