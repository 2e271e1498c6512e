"""Campaigns by detours: figures that creep, doubt sown by the dozen, sheets kept back, names in a file."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.formats.tidy_reader import read_tidy
from registry.models import Decision, Design, Sheet, Target, User
from registry.services.allowance import SHEETS_A_DISPUTE
from registry.services.case_decide import case_decide
from registry.services.charts import chart_refresh
from registry.services.decisions import approve, decide, undo
from registry.services.disputes import dispute_open, dispute_take_back
from registry.services.imports.tidy_file import import_apply
from registry.services.sheets import sheet_restore, sheet_submit, sheet_withdraw
from registry.services.snapshots import snapshot_learn
from tests.registry.moderation.made import account, made_design, pattern, sheet_json
from tests.registry.operations.campaigns import (
    Clock,
    Readings,
    agreed_design,
    agreed_states,
    cases_of,
    lie_sent,
    named,
    newcomers,
    nothing_moved,
    one_cell,
    set_aside,
    shown,
    shown_bytes,
)

pytestmark = pytest.mark.django_db
NEW = 10  # sheets a day of a new account, in tests of limits


@pytest.fixture(autouse=True)
def no_limit(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 0


@pytest.fixture
def desk() -> User:
    return account("desk", moderator=True)


def doubt(by: User, design: Design, position: str, pin: str) -> Any:
    cell = {"position": position, "pin": pin, "against": "1"}
    return dispute_open(
        by=by, target_kind=Target.CELL, target_uuid=design.uuid, reason="No.", target_cell=cell
    )


def test_one_act_ends_a_flood_of_disputes_to_the_byte(desk: User) -> None:
    design, flood = agreed_design(14, 7), account("flood")
    content = shown_bytes(design)
    for position, pin in pattern():
        doubt(flood, design, position, pin)
    chart_refresh(design_id=design.pk)
    disputed = shown_bytes(design)
    assert not agreed_states(shown(design))
    about = {"target_kind": Target.ACCOUNT, "target_uuid": flood.contributor.uuid}
    decision = decide(by=desk, kind="set_aside_account", reason="A flood.", **about)
    assert Design.objects.get(pk=design.pk).stale and decision.state == Decision.State.IN_FORCE
    chart_refresh(design_id=design.pk)
    assert shown_bytes(design) == content
    undo(by=desk, decision=decision, reason="They meant it.")
    chart_refresh(design_id=design.pk)
    assert shown_bytes(design) == disputed


def test_doubt_is_sown_by_the_handful_a_day(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = Clock(monkeypatch)
    design, flood = agreed_design(5, 3), account("flood")
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    cells, opened = iter(pattern()), []
    for _day in clock.days(2):
        for _ in range(NEW // SHEETS_A_DISPUTE):
            opened.append(doubt(flood, design, *next(cells)))
        dispute_take_back(by=flood, dispute=opened[-1])  # that it was taken back makes no room
        with pytest.raises(RegistryErrors) as refused:
            doubt(flood, design, *next(cells))
        assert [error.code for error in refused.value] == ["allowance_used"]
        assert refused.value.wait == pytest.approx(86400, abs=60)


def test_sheets_kept_back_come_in_no_faster_than_new_ones(
    settings: Any, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    clock, sender, kept = Clock(monkeypatch), account("sender"), []
    design = made_design(account("proposer"))
    for _day in clock.days(2):
        for _ in range(NEW):
            kept.append(sheet_submit(by=sender, body=sheet_json(design, pattern())))
            sheet_withdraw(by=sender, sheet=kept[-1], reason="later")
    clock.ahead *= 200  # a year in a drawer
    for sheet in kept[:NEW]:
        sheet_restore(by=sender, sheet=sheet)
    with pytest.raises(RegistryErrors) as refused:
        sheet_restore(by=sender, sheet=kept[NEW])
    assert [error.code for error in refused.value] == ["allowance_used"]
    client.force_login(sender)
    answer = client.post(reverse("sheet_restore", args=[kept[NEW].uuid]), follow=True)
    assert answer.status_code == 200 and "0 are left" in answer.content.decode()


def test_a_sheet_of_today_is_brought_back_whatever_was_sent(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    design, sender = made_design(account("proposer")), account("sender")
    sheets = [sheet_submit(by=sender, body=sheet_json(design, pattern())) for _ in range(NEW)]
    sheet_withdraw(by=sender, sheet=sheets[0], reason="by mistake")
    sheet_restore(by=sender, sheet=sheets[0])
    assert Sheet.objects.filter(withdrawn_at=None).count() == NEW


def file_of(rows: list[tuple[str, str, Readings]]) -> Any:
    """(contributor, submission, readings) as the command reads them."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        ["design", "submission", "unit", "contributor", "step", "position", "pin", "against", "reading"]
    )
    for who, name, readings in rows:
        for (position, pin), reading in readings.items():
            step = "PRNDL".index(position) + 1
            writer.writerow(["Zeel 4", name, name, who, step, position, pin, "1", reading])
    return read_tidy(out.getvalue().encode())


@pytest.mark.parametrize(("units", "people", "lying"), [(7, 4, 3), (14, 7, 6), (35, 12, 15)])
def test_names_in_a_file_are_new_until_something_of_theirs_fits(
    desk: User, units: int, people: int, lying: int
) -> None:
    import_apply(file_of([(f"who {n % people}", f"good {n}", pattern()) for n in range(units)]))
    design = Design.objects.get(name="Zeel 4")
    before, content = shown(design), shown_bytes(design)
    import_apply(file_of([(f"new {n}", f"lie {n}", one_cell(pattern())) for n in range(lying)]))
    assert nothing_moved(design, before)
    assert named(list(Sheet.objects.filter(name__startswith="lie")))
    assert cases_of(design)
    assert len(set_aside(desk, design)) == 1
    snapshot_learn()  # with the command each file is followed by one: the lies were in the last
    chart_refresh(design_id=design.pk)
    assert shown_bytes(design) == content


def test_one_person_s_file_adds_no_pin_to_a_design_that_is_agreed() -> None:
    """What is mirrored depends on how many pins there are: others' sheets would be read otherwise."""
    import_apply(file_of([(f"who {n % 3}", f"good {n}", pattern()) for n in range(5)]))
    design = Design.objects.get(name="Zeel 4")
    content, wider = shown_bytes(design), {**pattern(), ("P", "7"): "OL"}
    with pytest.raises(RegistryErrors) as refused:
        import_apply(file_of([("me", "mine", wider)]), by=account("me"))
    assert [error.code for error in refused.value] == ["label_unknown"]
    chart_refresh(design_id=design.pk)
    assert shown_bytes(design) == content
    import_apply(file_of([("operator", "theirs", wider)]))  # whoever runs the registry knows the design
    assert design.connector.pins.count() == len("1234567")


def patient_table(design: Design) -> list[Sheet]:
    """Six accounts of which something else fitted long ago tell one cell wrongly: readers see their table."""
    liars, elsewhere = newcomers(6), made_design(account("another"), "Ferry selector 13")
    for liar in liars:
        sheet_submit(by=liar, body=sheet_json(elsewhere, pattern()))
    chart_refresh(design_id=elsewhere.pk)
    Sheet.objects.filter(design=elsewhere).update(created_at=timezone.now() - timedelta(days=40))
    lies = [lie_sent(liar, design, one_cell) for liar in liars]
    chart_refresh(design_id=design.pk)
    assert {place[0] for place in shown(design)} == {"a", "b"}
    return lies


def test_a_table_that_patience_bought_is_looked_at_and_goes_in_one_act(desk: User, client: Client) -> None:
    design = agreed_design(14, 7)
    content = shown_bytes(design)
    lies = patient_table(design)
    assert [(case.kind, case.params["sheets"]) for case in cases_of(design)] == [("variant", len(lies))]
    client.force_login(desk)
    page = client.get(reverse("case", args=["variant", design.uuid])).content.decode()
    assert "6 sheets make a table of their own" in page
    [decision] = set_aside(desk, design)
    assert decision.state == Decision.State.WAITING  # what readers have seen goes by two voices
    approve(by=account("second", moderator=True), decision=decision)
    chart_refresh(design_id=design.pk)
    assert shown_bytes(design) == content
    assert not cases_of(design)


def test_a_table_that_was_looked_at_asks_nobody_again(desk: User) -> None:
    design = agreed_design(14, 7)
    patient_table(design)
    case_decide(by=desk, kind="variant", uuid=design.uuid, act="leave", reason="It is one.", seen=None)
    lie_sent(account("seventh"), design, one_cell)
    chart_refresh(design_id=design.pk)
    assert not cases_of(design)


def test_tables_of_the_first_chart_ask_nobody() -> None:
    import_apply(
        file_of(
            [(f"who {n}", f"good {n}", pattern()) for n in range(9)]
            + [(f"who {n}", f"other {n}", one_cell(pattern())) for n in range(9, 15)]
        )
    )
    design = Design.objects.get(name="Zeel 4")
    assert {place[0] for place in shown(design)} == {"a", "b"} and not cases_of(design)
