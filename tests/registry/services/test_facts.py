"""Facts about a job: answered by people, agreed as cells are, disputed and set aside like all else."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client

from registry.errors import RegistryErrors
from registry.models import Decision, Design, Dispute, FactAnswer, JobFact, User
from registry.selectors.facts import FactLine, facts_of
from registry.services.case_decide import case_decide
from registry.services.decisions import undo
from registry.services.disputes import dispute_open
from registry.services.facts import fact_answer, fact_take_back
from tests.registry.moderation.made import account as moderator_account
from tests.registry.pages.made import account, made_design

pytestmark = pytest.mark.django_db


@pytest.fixture
def design() -> Design:
    return made_design(account("owner"))


def say(
    by: User, design: Design, question: str = "rest_in_place", answer: str = "yes", **more: Any
) -> FactAnswer:
    body = {"question": question, "answer": answer, "source": "did_it", **more}
    return fact_answer(by=by, design=design, body=body)


def line(design: Design, question: str = "rest_in_place", subject: str = "") -> FactLine:
    return next(
        one
        for one in facts_of(design)
        if one.question.code == question and (not subject or (one.fact and one.fact.subject == subject))
    )


def test_five_people_agree_and_a_workshop_is_one_voice(design: Design) -> None:
    people = [account(f"one{n}", "Ferry Slip" if n < 3 else "") for n in range(5)]
    for person in people:
        say(person, design)
    assert line(design).agreement["voices"] == 3
    assert line(design).agreement["standing"] == "provisional"
    for n in range(3):
        say(account(f"more{n}"), design)
    found = line(design)
    assert (found.words, found.agreement["standing"], found.agreement["agreeing"]) == ("yes", "agreed", 6)


def test_one_answers_anew_and_the_earlier_answer_stays_to_be_seen(design: Design) -> None:
    person = account("one")
    first = say(person, design)
    assert say(person, design) == first, "the same again changes nothing"
    say(person, design, answer="no")
    assert line(design).words == "no"
    fact = JobFact.objects.get()
    assert fact.answers.count() == 2
    fact_take_back(by=person, fact=fact)
    assert line(design).agreement["standing"] == "unread" and fact.answers.count() == 2


def test_open_answers_are_one_however_they_are_spelled(design: Design) -> None:
    for n, words in enumerate(["Grade 3 fluid", "grade 3  FLUID", "Grade 4 fluid"]):
        say(account(f"one{n}"), design, "fluid", words)
    found = line(design, "fluid")
    assert found.words in ("Grade 3 fluid", "grade 3  FLUID") and found.agreement["agreeing"] == 2
    assert found.others == (("Grade 4 fluid", 1),)


def test_each_tool_is_a_fact_of_its_own(design: Design) -> None:
    say(account("one"), design, "tool", "yes", subject="Socket 25")
    say(account("two"), design, "tool", "no", subject="socket  25")
    say(account("three"), design, "tool", "yes", subject="drain pan")
    assert JobFact.objects.filter(question="tool").count() == 2


def test_quantities_get_a_centre_and_a_range(design: Design) -> None:
    for n, minutes in enumerate([30, 35, 28, 40, 33, 600]):
        person = account(f"one{n}")
        fact_answer(
            by=person, design=design, body={"question": "minutes", "quantity": minutes, "source": "did_it"}
        )
    agreement = line(design, "minutes").agreement
    assert agreement["standing"] == "agreed"
    assert 28 < agreement["typical"] < 42


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "/question"),
        ({"question": "rest_in_place", "source": "did_it"}, "/answer"),
        ({"question": "rest_in_place", "answer": "perhaps", "source": "did_it"}, "/answer"),
        ({"question": "rest_in_place", "answer": "yes"}, "/source"),
        ({"question": "tool", "answer": "yes", "source": "did_it"}, "/subject"),
        ({"question": "minutes", "quantity": "-3", "source": "did_it"}, "/quantity"),
        ({"question": "minutes", "quantity": "soon", "source": "did_it"}, "/quantity"),
        ({"question": "fluid", "answer": "x" * 81, "source": "did_it"}, "/answer"),
    ],
)
def test_what_is_wrong_is_said_at_its_field(design: Design, body: dict[str, Any], field: str) -> None:
    with pytest.raises(RegistryErrors) as found:
        fact_answer(by=account("one"), design=design, body=body)
    assert [error.field for error in found.value] == [field]
    assert not JobFact.objects.exists()


def test_a_moderator_without_a_part_in_it_sets_an_answer_aside_and_takes_it_back(design: Design) -> None:
    people = [account(f"one{n}") for n in range(3)]
    told = [
        say(person, design, answer=answer)
        for person, answer in zip(people, ["yes", "yes", "no"], strict=True)
    ]
    dispute = dispute_open(
        by=people[0], target_kind="fact", target_uuid=told[2].fact.uuid, reason="Not on this design."
    )
    assert line(design).agreement["standing"] == "disputed"
    moderator = moderator_account("desk", moderator=True)
    decision = case_decide(
        by=moderator,
        kind="dispute",
        uuid=dispute.uuid,
        act="aside3",
        reason="It was another design.",
        seen=None,
    )
    assert decision.state == Decision.State.IN_FORCE
    assert line(design).agreement["voices"] == 2
    dispute.refresh_from_db()
    assert dispute.state == Dispute.State.SETTLED
    undo(by=moderator, decision=decision, reason="Said too soon.")
    assert line(design).agreement["voices"] == 3


def test_who_answered_cannot_judge_that_answer(design: Design) -> None:
    moderator = moderator_account("desk", moderator=True)
    told = say(moderator, design)
    dispute = dispute_open(by=account("one"), target_kind="fact", target_uuid=told.fact.uuid, reason="No.")
    with pytest.raises(PermissionDenied):
        case_decide(by=moderator, kind="dispute", uuid=dispute.uuid, act="aside1", reason="Mine.", seen=None)


def test_page_reads_for_all_and_takes_answers_of_who_is_signed_in(client: Client, design: Design) -> None:
    address = f"/designs/{design.uuid}/preparation/"
    assert "Nobody has said yet." in client.get(address).content.decode()
    assert client.post(address, {"question": "rest_in_place"}).status_code == 302
    client.force_login(account("one"))
    page = client.post(address, {"question": "rest_in_place", "answer": "yes", "note": "two bolts"})
    assert page.status_code == 422 and 'value="two bolts"' in page.content.decode()
    done = client.post(
        address, {"question": "rest_in_place", "answer": "yes", "source": "did_it"}, follow=True
    ).content.decode()
    assert "one voice among those of others" in done and "1 of 1 voice" in done


def test_the_list_costs_the_same_however_many_answered(
    client: Client, design: Design, django_assert_max_num_queries: Any
) -> None:
    for n in range(6):
        say(account(f"one{n}"), design)
        say(account(f"two{n}"), design, "tool", "yes", subject=f"tool {n}")
    with django_assert_max_num_queries(10):
        client.get(f"/designs/{design.uuid}/preparation/")
