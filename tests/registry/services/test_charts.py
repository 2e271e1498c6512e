from __future__ import annotations

import json
import uuid

import pytest
from django.db import connection
from django.utils import timezone

from registry.formats.decision_words import held_words
from registry.immutability import lifted
from registry.models import ChartRevision, CurrentChart, Design, SheetFinding
from registry.selectors import evidence
from registry.services import charts, snapshots
from registry.services.catalogue import design_propose
from registry.services.charts import chart_refresh, revision_verify
from registry.services.effects.revisions import current_show
from registry.services.holding import reasons_to_hold
from registry.services.refreshes import mark_stale, refresh_owed
from registry.services.sheets import sheet_submit, sheet_withdraw
from registry.services.snapshots import snapshot_learn
from tests.registry.services.test_sheets import DESIGN, account, sheet_json

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def design():
    return design_propose(by=account("proposer"), body=DESIGN)


def units(n: int, start: int = 0, **changes):
    return [
        sheet_submit(by=account(f"reader{k}"), body=sheet_json(unit={"key": f"u{k}"}, **changes))
        for k in range(start, start + n)
    ]


def test_each_sheet_makes_a_revision_and_the_counts_grow(design):
    units(3)
    numbers = list(design.revisions.order_by("number").values_list("number", flat=True))
    assert numbers == [1, 2, 3]
    current = CurrentChart.objects.get(design=design)
    assert (current.revision.number, current.units, current.contributors) == (3, 3, 3)


def test_refresh_without_a_change_makes_no_revision(design):
    units(2)
    before = ChartRevision.objects.count()
    assert chart_refresh(design_id=design.pk) is None
    assert ChartRevision.objects.count() == before


def test_a_chart_withdrawn_while_the_next_is_computed_is_not_replaced_unseen(design, monkeypatch):
    units(2)
    computed = charts._computed

    def meanwhile(*given):
        revision = CurrentChart.objects.get(design=design).revision
        revision.state, revision.withdrawn_at = ChartRevision.State.WITHDRAWN, timezone.now()
        revision.save(update_fields=["state", "withdrawn_at"])
        current_show(design)
        return computed(*given)

    monkeypatch.setattr(charts, "_computed", meanwhile)
    units(1, start=2)
    newest = design.revisions.order_by("-number").first()
    assert newest.state == ChartRevision.State.HELD
    assert [reason["code"] for reason in newest.held_because] == ["after_withdrawal"]
    assert not CurrentChart.objects.filter(design=design, revision=newest).exists()


def test_what_is_decided_while_a_snapshot_is_learned_is_not_taken_as_counted(design, monkeypatch):
    """What is kept of learning serves for charts while the count of changes is the same."""
    units(2)

    def decided_just_before():
        mark_stale([design.pk])
        return evidence.decisions_in_force()

    monkeypatch.setattr(snapshots, "decisions_in_force", decided_just_before)
    with evidence.evidence_kept():
        snapshot_learn()
        design.refresh_from_db()
        kept = (evidence._KEPT.get() or {})[str(design.uuid)]
    assert kept[0] != design.changes


def test_suspect_never_enters_the_pattern(design):
    units(2)
    before = json.loads(bytes(CurrentChart.objects.get(design=design).revision.content))
    sheet_submit(by=account("finder"), body=sheet_json(purpose="suspect", unit={"key": "dead one"}))
    after = json.loads(bytes(CurrentChart.objects.get(design=design).revision.content))
    assert after["variants"] == before["variants"]


def test_withdrawing_gives_the_earlier_digest_as_a_new_revision(design):
    units(2)
    earlier = design.revisions.get(number=2).digest
    late = sheet_submit(by=account("late"), body=sheet_json(unit={"key": "late"}))
    sheet_withdraw(by=late.contributor.user, sheet=late, reason="wrong design")
    newest = design.revisions.order_by("-number").first()
    assert (newest.number, newest.digest) == (4, earlier)


def test_one_sheet_at_a_time_equals_all_at_once_under_one_snapshot(design):
    units(4)
    one_by_one = CurrentChart.objects.get(design=design).revision
    SheetFinding.objects.all().delete()
    CurrentChart.objects.all().delete()
    with lifted(connection):
        ChartRevision.objects.all().delete()
    together = chart_refresh(design_id=design.pk)
    assert bytes(together.content) == bytes(one_by_one.content)


def test_a_new_snapshot_changes_charts_only_at_the_next_refresh(design):
    units(3)
    revision = CurrentChart.objects.get(design=design).revision
    snapshot_learn()
    assert revision_verify(revision) == "same"


def test_design_left_stale_by_a_stopped_process_is_refreshed(design):
    units(2)
    Design.objects.update(stale=True)
    assert refresh_owed() == 1
    assert not Design.objects.get().stale


def test_every_sheet_has_a_finding(design):
    sheets = units(3)
    assert SheetFinding.objects.filter(sheet__in=sheets, finding="fits").count() == 3


def chart(state: str, standing: str, position: str = "P", starts: list[str] | None = None):
    cell = {"position": position, "pin": "2", "against": "1", "state": state, "standing": standing}
    return {
        "design": {"uuid": str(uuid.uuid4()), "start_positions": starts},
        "variants": [{"variant": "a", "cells": [cell]}],
    }


@pytest.mark.parametrize(
    ("standing", "position", "starts", "code"),
    [
        ("provisional", "P", ["P"], "start_position"),
        ("agreed", "R", ["P"], "agreed_changed"),
        ("provisional", "R", ["P"], None),
        ("disputed", "R", ["P"], "agreed_changed"),
        ("disputed", "P", ["P"], "start_position"),
        ("provisional", "N", None, "start_position"),
        ("thin", "P", ["P"], None),
    ],
)
def test_change_of_a_settled_cell_is_held_where_it_matters(standing, position, starts, code):
    before = chart("open", standing, position, starts)
    after = chart("closed", standing, position, starts)
    assert [reason["code"] for reason in reasons_to_hold(before, after)] == ([code] if code else [])


def figured(typical: float, low: float, high: float, standing: str = "agreed"):
    content = chart("closed", standing, "R", ["P"])
    content["variants"][0]["cells"][0]["ohm"] = {"typical": typical, "accept": [low, high]}
    return content


@pytest.mark.parametrize(
    ("after", "code"),
    [
        ((0.5, 0, 1.4), None),
        ((1.3, 0, 2.3), "figure_changed"),
        ((0.5, 0, 2.5), "figure_wider"),
        ((0.3, 0, 0.6), None),
    ],
)
def test_figure_of_an_agreed_cell_that_shifts_is_held(after, code):
    before = figured(0.4, 0, 1.2)
    assert [reason["code"] for reason in reasons_to_hold(before, figured(*after))] == ([code] if code else [])
    thin = figured(0.4, 0, 1.2, "thin")
    assert reasons_to_hold(thin, figured(*after)) == []


def test_reasons_to_hold_are_sentences():
    (reason,) = reasons_to_hold(figured(0.4, 0, 1.2), figured(15, 0, 30))
    assert held_words(reason) == "Pin 2 in R would show 15 Ω, so far 0.4 Ω."
    (reason,) = reasons_to_hold(figured(0.4, 0, 1.2), figured(0.4, 0, 30))
    assert held_words(reason) == "Pin 2 in R would be good up to 30 Ω, so far 1.2 Ω."


def test_change_of_a_start_position_is_held_and_not_shown(design):
    units(2)
    shown = CurrentChart.objects.get(design=design).revision
    other = [{**row, "reading": "OL"} for row in sheet_json()["readings"] if row["position"] == "P"]
    units(9, start=10, readings=other)
    held = design.revisions.get(state="held")
    assert {reason["code"] for reason in held.held_because} == {"start_position"}
    now = CurrentChart.objects.get(design=design).revision
    assert shown.number <= now.number < held.number
    cells = json.loads(bytes(now.content))["variants"][0]["cells"]
    park = next(cell for cell in cells if (cell["position"], cell["pin"]) == ("P", "2"))
    assert park["state"] in ("closed", None)
