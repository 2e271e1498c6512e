"""The wanted list, following, and who is told of what."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.formats.notice_words import SENTENCES, notice_sentence
from registry.models import Notice, User
from registry.models.desk import NoticeCode
from registry.selectors.wanted import wanted_designs, worth_of_one
from registry.services.decisions import approve, decide, undo
from registry.services.disputes import dispute_open, dispute_write
from registry.services.notices import notices_mail, stop_address
from registry.services.recall import revision_fetched
from registry.services.rereads import remind_rereads
from registry.services.wanted import follow, unfollow
from tests.registry.moderation.conftest import at_once  # noqa: F401  charts at once
from tests.registry.moderation.made import CLOSED, account, made_design, made_sheet, newest, pattern, readers

pytestmark = pytest.mark.django_db


def cell(standing: str, units: int, people: int) -> dict[str, object]:
    return {"standing": standing, "units": units, "contributors": people}


def test_worth_of_one_more_unit():
    cells = [cell("agreed", 9, 5), cell("provisional", 4, 2), cell("thin", 1, 1), cell("unread", 0, 0)]
    worth = worth_of_one({"variants": [{"cells": cells}]})
    assert (worth.settles, worth.unsettled, worth.cells) == (1, 3, 4)
    assert worth.worth == pytest.approx(1 + 1 / 4 + 1 / 5)


def test_people_who_ask_lift_a_design():
    people = readers(4)
    first, second = made_design(people[0], "Ferry 12"), made_design(people[0], "Ferry 13")
    assert [one.design for one in wanted_designs()] == [first, second]
    for person in people[:2]:
        follow(by=person, design=second, wanting=True)
    ranked = wanted_designs(people[0])
    assert [one.design for one in ranked] == [second, first]
    assert (ranked[0].asking, ranked[0].mine) == (2, True)


def test_agreed_design_is_not_wanted():
    people = readers(6)
    design = made_design(people[0])
    for person in people:
        made_sheet(person, design)
    assert [one.one_more.unsettled for one in wanted_designs()] == []


def told(user: User) -> list[str]:
    return list(Notice.objects.filter(user=user).order_by("pk").values_list("code", flat=True))


def test_follower_hears_of_changes_beyond_tolerance_only(settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    people = readers(5)
    follower = account("follower")
    design = made_design(people[0])
    follow(by=follower, design=design)
    made_sheet(people[0], design)
    assert told(follower) == ["chart_changed"]  # there is a pattern now
    made_sheet(people[1], design)
    made_sheet(people[2], design)
    assert told(follower) == ["chart_changed"]  # more units, nothing moved
    unfollow(by=follower, design=design)


def test_withdrawal_reaches_followers_and_who_fetched():
    people = readers(3)
    fetcher, stranger = account("fetcher"), account("stranger")
    moderators = [account(f"moderator{n}", moderator=True) for n in range(2)]
    design = made_design(people[0])
    made_sheet(people[1], design)
    revision = newest(design)
    revision_fetched(by=fetcher, revision=revision)
    decision = decide(by=moderators[0], kind="withdraw_revision", target_kind="revision",
                      target_uuid=revision.uuid, reason="Two shelves were mixed up.")  # fmt: skip
    approve(by=moderators[1], decision=decision)
    assert "revision_withdrawn" in told(fetcher)
    assert "revision_withdrawn" in told(people[1])
    assert told(stranger) == []


def test_next_chart_after_a_withdrawal_waits_for_a_moderator():
    people = readers(3)
    moderators = [account(f"moderator{n}", moderator=True) for n in range(2)]
    design = made_design(people[0])
    made_sheet(people[1], design)
    decision = decide(by=moderators[0], kind="withdraw_revision", target_kind="revision",
                      target_uuid=newest(design).uuid, reason="Mixed up.")  # fmt: skip
    approve(by=moderators[1], decision=decision)
    made_sheet(people[2], design)
    assert newest(design).state == "held"
    assert {"code": "after_withdrawal"} in newest(design).held_because


def test_held_revision_waits_is_published_and_taken_back(settings):
    settings.BENCHQUORUM_REPLY_DAYS = 0
    people = readers(4)
    moderators = [account(f"moderator{n}", moderator=True) for n in range(2)]
    design = made_design(people[0])
    for person in people[:2]:
        made_sheet(person, design)
    before = newest(design)
    other = {**CLOSED, "P": "35"}  # another pattern in park: the starter is released there
    for person in people:
        for _again in range(2):
            made_sheet(person, design, pattern(other))
    held = newest(design)
    assert held.state == "held"
    assert "start_position" in {reason["code"] for reason in held.held_because}
    design.refresh_from_db()
    assert design.current_chart.revision.number < held.number
    shown = design.current_chart.revision
    outsiders = [account(f"outsider{n}", moderator=True) for n in range(1)] + moderators
    publish = decide(by=outsiders[0], kind="publish", target_kind="revision", target_uuid=held.uuid,
                     reason="All of them read it so.")  # fmt: skip
    assert publish.state == "waiting"
    approve(by=outsiders[1], decision=publish)
    design.current_chart.refresh_from_db()
    assert design.current_chart.revision == held
    back = undo(by=outsiders[0], decision=publish, reason="Too soon.")
    design.current_chart.refresh_from_db()
    assert design.current_chart.revision == held  # one alone recalls nothing
    approve(by=outsiders[1], decision=back)
    design.current_chart.refresh_from_db()
    assert design.current_chart.revision == shown
    held.refresh_from_db()
    assert held.state == "withdrawn"
    assert before.number <= shown.number


def test_request_to_read_again_is_answered_by_a_linked_sheet():
    people = readers(2)
    moderator = account("moderator", moderator=True)
    design = made_design(people[0])
    sheet = made_sheet(people[1], design)
    deadline = (timezone.localdate() + timedelta(days=2)).isoformat()
    decide(by=moderator, kind="ask_reread", target_kind="sheet", target_uuid=sheet.uuid,
           payload={"deadline": deadline}, reason="Pin 4 in R, please.")  # fmt: skip
    assert told(people[1]) == ["reread_asked"]
    assert remind_rereads() == 1
    assert remind_rereads() == 0  # once
    from registry.services.sheets import sheet_submit
    from tests.registry.moderation.made import sheet_json

    again = sheet_submit(
        by=people[1],
        body=sheet_json(design, pattern(), rereads=str(sheet.uuid), unit={"key": sheet.unit.key}),
    )
    assert again.rereads == sheet
    assert remind_rereads(today=timezone.localdate() + timedelta(days=30)) == 0


def test_thread_tells_the_others_in_it():
    people = readers(3)
    design = made_design(people[0])
    sheet = made_sheet(people[1], design)
    dispute = dispute_open(by=people[0], target_kind="sheet", target_uuid=sheet.uuid, reason="Odd.")
    assert told(people[1]) == ["sheet_disputed"]
    dispute_write(by=people[1], dispute=dispute, text="I read it twice.")
    assert told(people[0]) == ["dispute_answered"]


def test_one_mail_for_all_notices_and_one_click_ends_it(settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    people = readers(3)
    design = made_design(people[0])
    for person in (people[0], people[2]):
        sheet = made_sheet(people[1], design)
        dispute_open(by=person, target_kind="sheet", target_uuid=sheet.uuid, reason="Odd.")
    assert notices_mail() == 1
    assert notices_mail() == 0
    (sent,) = mail.outbox
    assert sent.body.count("is disputed") == 2
    assert sent.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert Client(enforce_csrf_checks=True).post(stop_address(people[1])).status_code == 200
    people[1].refresh_from_db()
    assert not people[1].wants_mail
    assert Client().post(reverse("mail_stop", args=["forged"])).status_code == 404


@pytest.mark.parametrize("code", NoticeCode.values)
def test_every_notice_has_its_sentence(code):
    params = {"design": "Ferry 12", "name": "Ferry 12", "number": 3, "kind": "set_aside", "reason": "Odd.",
              "until": "2026-12-02", "deadline": "2026-12-02", "cells": []}  # fmt: skip
    assert set(SENTENCES) == set(NoticeCode.values)
    sentence = notice_sentence(code, params)
    assert sentence.endswith(".") and "{" not in sentence


def test_pages_of_taking_part():
    people = readers(2)
    design = made_design(people[0])
    sheet = made_sheet(people[1], design)
    client = Client()
    client.force_login(people[0])
    assert client.get(reverse("wanted")).status_code == 200
    assert client.post(reverse("follow_design", args=[design.uuid]), {"act": "want", "from": "wanted"})
    assert "1 person asks for it." in client.get(reverse("wanted")).content.decode()
    made = client.post(reverse("dispute_new", args=["sheet", sheet.uuid]), {"reason": "Mine reads open."})
    assert "Mine reads open." in client.get(made["Location"]).content.decode()
    owner = Client()
    owner.force_login(people[1])
    assert "is disputed" in owner.get(reverse("notices")).content.decode()
    assert owner.post(made["Location"], {"text": "I read it twice."}).status_code == 302
    assert "I read it twice." in Client().get(made["Location"]).content.decode()


def test_matrix_page_shows_before_it_sends():
    people = readers(1)
    design = made_design(people[0])
    client = Client()
    client.force_login(people[0])
    from io import BytesIO

    file = BytesIO(b"position,2,3\r\nP,0.4,OL\r\n")
    file.name = "unit.csv"
    address = reverse("matrix", args=[design.uuid])
    fields = {"unit_key": "shelf 3", "measured_it_myself": "1", "held_good": "worked"}
    page = client.post(address, {**fields, "file": file, "act": "look"})
    assert "What would be sent" in page.content.decode()
    assert not design.sheets.exists()
    kept = page.context["kept"]
    sent = client.post(
        address, {**fields, "kept": kept, "act": "send", "client_id": page.context["client_id"]}
    )
    assert sent.status_code == 302
    assert design.sheets.get().unit.key == "shelf 3"
