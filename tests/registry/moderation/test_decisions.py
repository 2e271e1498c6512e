"""Decisions are events: who may make them, when they take effect, and that undo goes back to the byte."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.utils import timezone

from registry.bridge.corrections import suggested_correction
from registry.errors import RegistryErrors
from registry.models import AuditEntry, ChartRevision, Decision, Notice, Reading, User
from registry.selectors.seen import case_seen
from registry.services.accounts import workshop_join
from registry.services.decisions import agree, approve, decide, refuse_decision, undo
from registry.services.disputes import dispute_open, dispute_take_back
from registry.services.due_decisions import apply_due
from tests.registry.moderation.made import (
    account,
    made_sheet,
    newest,
)

pytestmark = pytest.mark.django_db


def say(sheet, kind="set_aside", **more):
    return {"kind": kind, "target_kind": "sheet", "target_uuid": sheet.uuid, "reason": "It is so.", **more}


def codes(error) -> list[str]:
    return [one.code for one in error.value]


def test_mirrored_sheet_is_found_and_its_correction_brings_its_unit_in(world, moderators, settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    design, sheets, _people = world
    before = newest(design)
    finding = sheets[5].finding
    assert finding.finding == "mirrored_pins"
    typed = list(Reading.objects.order_by("pk").values_list("as_typed", "place_id", "low_ohm"))
    correction = suggested_correction(finding.body)
    decision = decide(by=moderators[0], **say(sheets[5], "correct", payload={"correction": correction}))
    assert decision.state == "in_force"
    sheets[5].refresh_from_db()
    assert newest(design).number == before.number + 1
    assert sheets[5].finding.finding == "fits"
    undo(by=moderators[0], decision=decision, reason="Wrong after all.")
    again = newest(design)
    assert (again.number, again.digest) == (before.number + 2, before.digest)
    assert bytes(again.content) == bytes(before.content)
    assert again.state == "published"
    assert list(Reading.objects.order_by("pk").values_list("as_typed", "place_id", "low_ohm")) == typed


def test_contributor_is_told_and_has_time_to_answer(world, moderators):
    design, sheets, people = world
    before = newest(design).digest
    decision = decide(by=moderators[0], **say(sheets[5]))
    assert decision.state == "waiting"
    assert newest(design).digest == before
    assert Notice.objects.get(user=people[5]).code == "decision_proposed"
    assert apply_due(now=timezone.now() + timedelta(days=6)) == 0
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 1
    decision.refresh_from_db()
    assert decision.state == "in_force"
    assert newest(design).digest != before


def test_contributor_who_agrees_ends_the_wait(world, moderators):
    _design, sheets, people = world
    decision = decide(by=moderators[0], **say(sheets[5]))
    with pytest.raises(PermissionDenied):
        agree(by=people[0], decision=decision)
    assert agree(by=people[5], decision=decision).state == "in_force"


def test_time_to_answer_runs_from_the_dispute(world, moderators):
    _design, sheets, people = world
    dispute = dispute_open(by=people[0], target_kind="sheet", target_uuid=sheets[5].uuid, reason="Odd.")
    decision = decide(by=moderators[0], **say(sheets[5], dispute=dispute))
    assert decision.effective_at == dispute.reply_until


def test_nobody_decides_in_their_own_case(world, moderators):
    _design, sheets, people = world
    own = account("author", moderator=True, workshop="yard 5")  # a colleague of the sheet's contributor
    with pytest.raises(PermissionDenied):
        decide(by=own, **say(sheets[5]))
    dispute_open(by=moderators[0], target_kind="sheet", target_uuid=sheets[5].uuid, reason="Odd.")
    with pytest.raises(PermissionDenied):
        decide(by=moderators[0], **say(sheets[5]))
    workshop_join(by=moderators[0], name="north yard")
    workshop_join(by=moderators[1], name="north yard")
    with pytest.raises(PermissionDenied):
        decide(by=moderators[1], **say(sheets[5]))
    with pytest.raises(PermissionDenied):
        decide(by=people[0], **say(sheets[5]))
    assert not Decision.objects.exists()


def test_party_can_neither_approve_nor_undo(world, moderators, settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    _design, sheets, _people = world
    decision = decide(by=moderators[0], **say(sheets[5]))
    colleague = account("colleague", moderator=True, workshop="yard 5")
    with pytest.raises(PermissionDenied):
        approve(by=colleague, decision=decision)
    with pytest.raises(PermissionDenied):
        undo(by=colleague, decision=decision, reason="No.")


def test_second_moderator_is_told_that_the_case_changed(world, moderators):
    _design, sheets, _people = world
    seen = case_seen("sheet", sheets[5].uuid)
    decide(by=moderators[0], **say(sheets[5]), seen=seen)
    with pytest.raises(RegistryErrors) as error:
        decide(by=moderators[1], **say(sheets[5], "keep"), seen=seen)
    assert codes(error) == ["case_changed"]
    assert Decision.objects.count() == 1


def test_other_sheets_coming_in_do_not_make_a_page_stale(world, moderators):
    design, sheets, people = world
    seen = case_seen("sheet", sheets[5].uuid)
    made_sheet(people[0], design)
    assert decide(by=moderators[0], **say(sheets[5], "keep"), seen=seen).state == "in_force"


def test_withdrawal_needs_a_second_moderator(world, moderators):
    design, _sheets, people = world
    revision = newest(design)
    say_withdraw = {
        "kind": "withdraw_revision",
        "target_kind": "revision",
        "target_uuid": revision.uuid,
        "reason": "Two shelves were mixed up.",
    }
    decision = decide(by=moderators[0], **say_withdraw)
    assert (decision.state, decision.effective_at) == ("waiting", None)
    with pytest.raises(PermissionDenied):
        approve(by=moderators[0], decision=decision)
    approve(by=moderators[1], decision=decision)
    revision.refresh_from_db()
    assert revision.state == "withdrawn"
    assert design.__class__.objects.get(pk=design.pk).current_chart.revision.number == revision.number - 1
    assert Notice.objects.filter(code="revision_withdrawn", user=people[0]).exists()
    back = undo(by=moderators[0], decision=decision, reason="The shelves were right.")
    assert (back.kind, back.state, back.effective_at) == ("undo", "waiting", None)
    revision.refresh_from_db()
    assert revision.state == "withdrawn"  # what two recalled, one doesn't bring back
    with pytest.raises(PermissionDenied):
        approve(by=moderators[0], decision=back)
    with pytest.raises(RegistryErrors) as error:
        undo(by=moderators[1], decision=decision, reason="The shelves were right.")
    assert codes(error) == ["decided_already"]
    approve(by=moderators[1], decision=back)
    revision.refresh_from_db()
    assert revision.state == "published"
    assert design.__class__.objects.get(pk=design.pk).current_chart.revision == revision
    decision.refresh_from_db()
    assert decision.state == "undone"
    with pytest.raises(RegistryErrors) as error:
        undo(by=moderators[0], decision=back, reason="No.")
    assert codes(error) == ["undo_stands"]


def test_refused_undo_leaves_what_was_decided(world, moderators):
    design, _sheets, _people = world
    decision = withdrawn(design, moderators)
    back = undo(by=moderators[1], decision=decision, reason="It was right.")
    refuse_decision(by=moderators[0], decision=back, reason="It was not.")
    assert apply_due(now=timezone.now() + timedelta(days=99)) == 0
    decision.refresh_from_db()
    assert decision.state == "in_force"
    assert undo(by=moderators[1], decision=decision, reason="It was right.").state == "waiting"


def test_whoever_moderates_alone_waits_to_take_a_recall_back(world, moderators):
    design, _sheets, _people = world
    decision = withdrawn(design, moderators)
    User.objects.filter(pk=moderators[1].pk).update(suspended_at=timezone.now())
    back = undo(by=moderators[0], decision=decision, reason="It was right.")
    assert back.before["alone"]
    assert apply_due(now=timezone.now() + timedelta(days=6)) == 0
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 1
    decision.refresh_from_db()
    assert decision.state == "undone"


def test_proposal_to_take_back_what_is_no_more_in_force_lapses(world, moderators):
    design, _sheets, _people = world
    decision = withdrawn(design, moderators)
    back = undo(by=moderators[0], decision=decision, reason="It was right.")
    Decision.objects.filter(pk=decision.pk).update(state="undone")
    with pytest.raises(RegistryErrors) as error:
        approve(by=moderators[1], decision=back)
    assert codes(error) == ["decision_not_in_force"]


def withdrawn(design, moderators) -> Decision:
    decision = decide(by=moderators[0], kind="withdraw_revision", target_kind="revision",
                      target_uuid=newest(design).uuid, reason="Two shelves were mixed up.")  # fmt: skip
    return approve(by=moderators[1], decision=decision)


def test_one_moderator_alone_waits(world):
    design, _sheets, _people = world
    alone = account("alone", moderator=True)
    revision = newest(design)
    decision = decide(
        by=alone,
        kind="withdraw_revision",
        target_kind="revision",
        target_uuid=revision.uuid,
        reason="Wrong face.",
    )
    assert decision.before["alone"] and decision.effective_at is not None
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 1
    revision.refresh_from_db()
    assert revision.state == "withdrawn"


def test_refused_decision_changes_nothing(world, moderators):
    design, _sheets, _people = world
    revision = newest(design)
    decision = decide(
        by=moderators[0],
        kind="withdraw_revision",
        target_kind="revision",
        target_uuid=revision.uuid,
        reason="?",
    )
    refuse_decision(by=moderators[1], decision=decision, reason="Not so.")
    assert apply_due(now=timezone.now() + timedelta(days=99)) == 0
    revision.refresh_from_db()
    assert revision.state == "published"


def test_suspended_proposers_decisions_lapse(world, moderators):
    _design, sheets, _people = world
    decision = decide(by=moderators[0], **say(sheets[5]))
    User.objects.filter(pk=moderators[0].pk).update(suspended_at=timezone.now())
    assert apply_due(now=timezone.now() + timedelta(days=8)) == 0
    decision.refresh_from_db()
    assert decision.state == "refused"


def test_every_act_is_logged_with_ids_only(world, moderators, settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    _design, sheets, _people = world
    decision = decide(by=moderators[0], **say(sheets[5]))
    undo(by=moderators[1], decision=decision, reason="No.")
    entries = AuditEntry.objects.filter(detail__decision=str(decision.uuid)).order_by("pk")
    assert [entry.action for entry in entries] == [
        "decide_set_aside",
        "decision_in_force",
        "decision_undone",
    ]
    assert "@" not in str(list(entries.values("detail", "actor_uuid")))


def test_disputed_cell_is_shown_so_until_settled(world, moderators):
    design, _sheets, people = world
    cell = {"position": "R", "pin": "1", "against": "4"}
    before = newest(design)
    dispute = dispute_open(
        by=people[1], target_kind="cell", target_uuid=design.uuid, target_cell=cell, reason="Mine differs."
    )
    assert standing(newest(design), "R", "4") == "disputed"
    decision = decide(
        by=moderators[0],
        kind="settle_dispute",
        target_kind="cell",
        target_uuid=design.uuid,
        reason="Yours is another part.",
        dispute=dispute,
    )
    assert newest(design).digest == before.digest
    undo(by=moderators[0], decision=decision, reason="Too soon.")
    assert standing(newest(design), "R", "4") == "disputed"
    dispute.refresh_from_db()
    assert dispute.state == "open"
    dispute_take_back(by=people[1], dispute=dispute)
    assert newest(design).digest == before.digest


def standing(revision: ChartRevision, position: str, pin: str) -> str:
    import json

    cells = json.loads(bytes(revision.content))["variants"][0]["cells"]
    return next(c["standing"] for c in cells if c["position"] == position and pin in (c["pin"], c["against"]))


def test_same_dispute_twice_is_refused(world):
    design, _sheets, people = world
    dispute_open(by=people[1], target_kind="design", target_uuid=design.uuid, reason="Pin 1 is not there.")
    with pytest.raises(RegistryErrors) as error:
        dispute_open(by=people[1], target_kind="design", target_uuid=design.uuid, reason="Again.")
    assert codes(error) == ["dispute_open"]
