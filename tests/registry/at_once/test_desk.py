"""Decisions that meet refreshes, sheets, other decisions, or whoever takes back what is decided about."""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from threading import Barrier, BrokenBarrierError, Event
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connection, transaction

from registry.errors import RegistryErrors
from registry.models import CurrentChart, Decision, Design, Dispute, Membership, Notice
from registry.services import disputes, due_decisions
from registry.services.accounts import contributor_of
from registry.services.charts import chart_refreshed
from registry.services.decisions import decide, refuse_decision
from registry.services.disputes import dispute_open, dispute_take_back
from registry.services.effects.revisions import current_show
from registry.services.fleet.organisations import member_set, organisation_make
from registry.services.refreshes import refresh_owed, refresh_run
from registry.services.rereads import remind_rereads
from registry.services.sheets import sheet_submit
from registry.services.units import unit_same
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.at_once.meeting import WAIT, begun, on_postgresql, until_it_waits
from tests.registry.moderation.made import account

pytestmark = [pytest.mark.django_db(transaction=True), on_postgresql]


def in_one(act: Any, *args: Any) -> None:
    with transaction.atomic():
        act(*args)


def counted(design: Design) -> set[str]:
    """Sheets of the chart that readers are shown."""
    revision = CurrentChart.objects.get(design=design).revision
    return {entry["sheet"] for entry in revision.inputs["sheets"]}


def test_a_withdrawal_that_meets_a_publication_leaves_the_newest_chart_in_sight() -> None:
    """What is shown after a decision is looked up, while a refresh has published another, not yet seen."""
    user = made_user()
    design = made_design(user)
    for key in ("7", "8"):
        sheet_submit(by=user, body=sheet_body(design, unit={"key": key}))
        refresh_owed()
    sheet = sheet_submit(by=made_user("other"), body=sheet_body(design))
    with transaction.atomic():
        revision, _fresh = chart_refreshed(design_id=design.pk)
        assert revision is not None and revision.state == "published"
        showing = begun(lambda: in_one(current_show, design))
        assert until_it_waits(showing)
    showing.result(WAIT)
    assert CurrentChart.objects.get(design=design).revision_id == revision.pk
    assert str(sheet.uuid) in counted(design)


def test_a_sheet_that_comes_while_its_design_is_merged_counts_in_the_other() -> None:
    user = made_user()
    source, there = made_design(user, "Sweeper"), made_design(user, "Rake")
    sheet_submit(by=user, body=sheet_body(there))
    refresh_owed()
    moderator = account("desk", moderator=True)
    sent, marked, go_on = [], Event(), Event()

    def send() -> None:
        with transaction.atomic():
            sent.append(sheet_submit(by=made_user("other"), body=sheet_body(source)))
            marked.set()
            assert go_on.wait(WAIT)

    with transaction.atomic():
        decide(
            by=moderator, kind="merge_designs", target_kind="design", target_uuid=source.uuid,
            reason="the same", payload={"design": str(there.uuid)},
        )  # fmt: skip
        sending = begun(send)
        assert until_it_waits(sending)
    assert marked.wait(WAIT)
    refresh_run(design_id=there.pk)  # by a worker that is quicker than the commit of the sheet
    go_on.set()
    sending.result(WAIT)
    refresh_owed()
    refresh_owed()
    assert str(sent[0].uuid) in counted(there)


CELL = {"position": "R", "pin": "3", "against": "1"}


def test_a_dispute_that_is_taken_back_while_a_moderator_settles_it(monkeypatch: pytest.MonkeyPatch) -> None:
    user = made_user()
    design = made_design(user)
    moderator = account("desk", moderator=True)
    cell: dict[str, Any] = {"target_kind": "cell", "target_uuid": design.uuid, "target_cell": CELL}
    dispute = dispute_open(by=user, reason="mine reads open", **cell)
    settling, refresh = [], disputes._refresh

    def slowly(dispute: Dispute) -> None:
        settle = {"kind": "settle_dispute", "reason": "read again", "dispute": dispute_seen, **cell}
        settling.append(begun(lambda: decide(by=moderator, **settle)))
        assert until_it_waits(settling[0])
        refresh(dispute)

    dispute_seen = Dispute.objects.get(pk=dispute.pk)
    monkeypatch.setattr(disputes, "_refresh", slowly)
    dispute_take_back(by=user, dispute=dispute)
    with pytest.raises(RegistryErrors) as refused:
        settling[0].result(WAIT)
    assert [error.code for error in refused.value] == ["dispute_closed"]
    assert Dispute.objects.get().state == Dispute.State.TAKEN_BACK


def test_a_dispute_that_is_sent_twice_at_once_is_one() -> None:
    user = made_user()
    sheet = sheet_submit(by=user, body=sheet_body(made_design(user)))
    about: dict[str, Any] = {"target_kind": "sheet", "target_uuid": sheet.uuid, "reason": "a dirty plug"}
    other = made_user("other")
    contributor_of(other)
    with transaction.atomic():
        dispute_open(by=other, **about)
        again = begun(lambda: dispute_open(by=other, **about))
        until_it_waits(again)
    with pytest.raises(RegistryErrors):
        again.result(WAIT)
    assert Dispute.objects.count() == 1


def test_of_two_owners_who_relieve_each_other_at_once_one_stays() -> None:
    one, two = made_user("one"), made_user("two")
    fleet = organisation_make(by=one, body={"name": "Marsh Quay"})
    first = Membership.objects.get(organisation=fleet)
    second = Membership.objects.create(organisation=fleet, user=two, role=Membership.Role.OWNER)
    both = Barrier(2)

    def slowly(execute: Any, sql: str, *rest: Any) -> Any:
        came = execute(sql, *rest)
        if "registry_membership" in sql and "LIMIT 1 FOR" in sql:  # each holds the other's row
            with suppress(BrokenBarrierError):
                both.wait(1)
        return came

    def relieve(by: Any, member: Membership) -> None:
        with connection.execute_wrapper(slowly):
            member_set(by=by, organisation=fleet, member=member, role="worker")

    ends = [begun(lambda: relieve(one, second)), begun(lambda: relieve(two, first))]
    errors = [error for end in ends if (error := end.exception(WAIT)) is not None]
    assert len(errors) == 1 and isinstance(errors[0], RegistryErrors | PermissionDenied), errors
    assert Membership.objects.filter(organisation=fleet, role=Membership.Role.OWNER).count() == 1


def test_a_decision_that_is_refused_while_the_clock_looks_at_it_keeps_its_reason(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    user = made_user()
    sheet = sheet_submit(by=user, body=sheet_body(made_design(user)))
    moderator = account("desk", moderator=True)
    decision = Decision.objects.create(
        kind="set_aside", target_kind="sheet", target_uuid=sheet.uuid, reason="worn leads",
        proposer=moderator, needs_second=True, state=Decision.State.WAITING,
    )  # fmt: skip
    refusing, seconds = [], due_decisions.wait_for_second

    def slowly(*args: Any) -> Any:
        refuse = {"by": moderator, "decision": decision, "reason": "the leads were fine"}
        refusing.append(begun(lambda: refuse_decision(**refuse)))
        until_it_waits(refusing[0])
        return seconds(*args)

    monkeypatch.setattr(due_decisions, "wait_for_second", slowly)
    due_decisions.apply_due()
    refusing[0].result(WAIT)
    decision.refresh_from_db()
    assert decision.state == Decision.State.REFUSED
    assert decision.before["undone_because"] == "the leads were fine"


def test_two_who_say_at_once_that_their_units_are_one_are_both_heard() -> None:
    one, two = made_user("one"), made_user("two")
    design = made_design(one)
    units = [sheet_submit(by=user, body=sheet_body(design)).unit for user in (one, two)]
    refresh_owed()
    with transaction.atomic():
        assert not unit_same(by=one, unit=units[0], same_as=units[1])
        other = begun(lambda: unit_same(by=two, unit=units[1], same_as=units[0]))
        until_it_waits(other)
    assert other.result(WAIT)
    assert Design.objects.get(pk=design.pk).stale


def test_two_clocks_that_remind_at_once_remind_once() -> None:
    user = made_user()
    sheet = sheet_submit(by=user, body=sheet_body(made_design(user)))
    moderator, today = account("desk", moderator=True), date(2026, 11, 20)
    decide(
        by=moderator, kind="ask_reread", target_kind="sheet", target_uuid=sheet.uuid,
        reason="R is unclear", payload={"deadline": today.isoformat()},
    )  # fmt: skip
    with transaction.atomic():
        assert remind_rereads(today=today) == 1
        other = begun(lambda: remind_rereads(today=today))
        until_it_waits(other)
    assert other.result(WAIT) == 0
    assert Notice.objects.filter(code="reread_due").count() == 1
