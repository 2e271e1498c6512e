"""The desk's pages: what is on them, who gets in, what a stale page is told, how many queries they take."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import Decision, RefreshTrouble
from registry.selectors.queue import queue
from registry.selectors.seen import case_seen
from registry.services.decisions import decide as decide_at_once
from registry.services.disputes import dispute_open
from tests.registry.moderation.made import (
    account,
    made_design,
    made_sheet,
    mirrored,
    newest,
    pattern,
    readers,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(settings, world):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    return world


@pytest.fixture
def desk(world):
    client = Client()
    client.force_login(account("moderator", moderator=True))
    return client


def case_of(sheet) -> str:
    return reverse("case", args=["sheet", sheet.uuid])


def decide(client, sheet, act="correct", reason="As its finding says.", seen=None, **more):
    seen = seen if seen is not None else case_seen("sheet", sheet.uuid)
    return client.post(
        reverse("case_act", args=["sheet", sheet.uuid]), {"act": act, "reason": reason, "seen": seen, **more}
    )


def test_queue_puts_the_mirrored_sheet_before_the_proposed_design(world):
    design, sheets, _people = world
    assert [(case.kind, case.uuid) for case in queue()] == [
        ("sheet", sheets[5].uuid),
        ("design", design.uuid),
    ]


def test_case_shows_sheet_pattern_finding_and_what_would_become(world, desk):
    _design, sheets, _people = world
    text = desk.get(case_of(sheets[5])).content.decode()
    for words in (
        "Fits once the lines are numbered from the other face",
        "What the chart would become",
        "Read with the correction",
        "Without this sheet",
        "Units: 6 → 5.",
        "pattern: closed",
    ):
        assert words in text


def test_decision_leads_to_the_next_case_and_can_be_taken_back_there(world, desk):
    design, sheets, _people = world
    before = newest(design)
    answer = decide(desk, sheets[5])
    assert answer.status_code == 302
    assert newest(design).digest != before.digest
    page = desk.get(answer["Location"]).content.decode()
    assert "It is in force." in page
    decision = Decision.objects.get()
    undo = desk.post(
        reverse("decision_undo", args=[decision.uuid]), {"reason": "No.", "back": answer["Location"]}
    )
    assert undo["Location"] == answer["Location"]
    assert bytes(newest(design).content) == bytes(before.content)
    assert newest(design).digest == before.digest


def test_second_moderator_on_a_stale_page_keeps_what_they_wrote(world, desk):
    _design, sheets, _people = world
    seen = case_seen("sheet", sheets[5].uuid)
    decide(desk, sheets[5])
    second = Client()
    second.force_login(account("second", moderator=True))
    answer = decide(second, sheets[5], act="set_aside", reason="My own words.", seen=seen)
    assert answer.status_code == 409
    text = answer.content.decode()
    assert "Nothing was overwritten" in text
    assert "My own words." in text
    assert Decision.objects.count() == 1


def test_others_are_turned_away(world):
    _design, sheets, people = world
    guest, reader = Client(), Client()
    reader.force_login(people[0])
    for name, args in (("desk", []), ("case", ["sheet", sheets[5].uuid]), ("desk_accounts", [])):
        assert guest.get(reverse(name, args=args)).status_code == 302
        assert reader.get(reverse(name, args=args)).status_code == 403
    assert decide(reader, sheets[5]).status_code == 403
    assert not Decision.objects.exists()


def test_party_sees_the_case_without_a_form(world):
    _design, sheets, _people = world
    colleague = Client()
    colleague.force_login(account("colleague", moderator=True, workshop="yard 5"))
    text = colleague.get(case_of(sheets[5])).content.decode()
    assert "You have a part in this case" in text
    assert "data-decide" not in text


def test_dispute_is_settled_with_its_thread_in_sight(world, desk):
    design, _sheets, people = world
    cell = {"position": "R", "pin": "4", "against": "1"}
    dispute = dispute_open(
        by=people[0], target_kind="cell", target_uuid=design.uuid, target_cell=cell, reason="Mine is open."
    )
    address = reverse("case", args=["dispute", dispute.uuid])
    assert "Mine is open." in desk.get(address).content.decode()
    desk.post(reverse("thread_write", args=[dispute.uuid]), {"text": "Which year?"})
    assert "Which year?" in desk.get(address).content.decode()
    answer = desk.post(
        reverse("case_act", args=["dispute", dispute.uuid]),
        {"act": "not_upheld", "reason": "Five read it closed.", "seen": case_seen("cell", design.uuid)},
    )
    assert answer.status_code == 302
    dispute.refresh_from_db()
    assert dispute.state == "settled"


def test_several_mirrored_sheets_in_one_go(world, desk):
    design, sheets, people = world
    second = made_sheet(people[4], design, mirrored(pattern()))
    answer = desk.post(
        reverse("desk_several"), {"sheet": [str(sheets[5].uuid), str(second.uuid)], "reason": "Other face."}
    )
    assert answer.status_code == 302
    assert Decision.objects.filter(kind="correct", state="in_force").count() == 2
    assert not [case for case in queue() if case.kind == "sheet"]


def test_queries_stay_the_same_however_long_the_queue(world, desk, django_assert_max_num_queries):
    design, _sheets, people = world
    for person in people[:3]:
        made_sheet(person, design, mirrored(pattern()))
    with django_assert_max_num_queries(12):
        assert len(queue()) == 5


@pytest.mark.parametrize("name", ["desk", "desk_accounts", "desk_catalogue", "desk_log"])
def test_pages_of_the_desk_open(world, desk, name):
    assert desk.get(reverse(name)).status_code == 200


def test_account_is_suspended_and_let_back(world, desk):
    _design, _sheets, people = world
    address = reverse("desk_account", args=[people[5].contributor.uuid])
    assert desk.get(address).status_code == 200
    desk.post(address, {"act": "suspend", "reason": "Copied sheets."})
    people[5].refresh_from_db()
    assert people[5].suspended_at is not None
    decision = Decision.objects.get(kind="suspend")
    desk.post(reverse("decision_undo", args=[decision.uuid]), {"reason": "Explained.", "back": address})
    people[5].refresh_from_db()
    assert people[5].suspended_at is None


def test_undo_leads_to_no_foreign_address(world, desk):
    _design, sheets, _people = world
    decide(desk, sheets[5])
    decision = Decision.objects.get()
    answer = desk.post(
        reverse("decision_undo", args=[decision.uuid]), {"reason": "No.", "back": "//elsewhere.example/"}
    )
    assert answer["Location"] == reverse("desk")


@pytest.mark.django_db(transaction=True)
def test_two_who_decide_at_the_same_moment_make_one_decision(settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    people = readers(2)
    sheet = made_sheet(people[0], made_design(people[1]))
    moderators = [account(f"moderator{n}", moderator=True) for n in range(2)]
    seen = case_seen("sheet", sheet.uuid)

    def act(by):
        try:
            decide_at_once(by=by, kind="keep", target_kind="sheet", target_uuid=sheet.uuid, reason="So.",
                           seen=seen)  # fmt: skip
        except RegistryErrors as errors:
            return [error.code for error in errors]
        finally:
            connections.close_all()
        return []

    with ThreadPoolExecutor(2) as pool:
        answers = sorted(pool.map(act, moderators))
    assert answers == [[], ["case_changed"]]
    assert Decision.objects.count() == 1


def test_parked_design_is_shown_and_tried_again(world, desk):
    design, _sheets, _people = world
    RefreshTrouble.objects.create(
        design=design,
        failures=3,
        error="ValueError: <no> figure",
        failed_at=timezone.now(),
        parked_at=timezone.now(),
    )
    page = desk.get(reverse("desk")).content.decode()
    assert "could not be computed 3 times" in page and "ValueError: &lt;no&gt; figure" in page
    desk.post(reverse("desk_refresh", args=[design.uuid]))
    assert not RefreshTrouble.objects.exists()
