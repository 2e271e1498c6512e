"""Pages of words, the front page, the search, a proposal, and what is said when something went wrong."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from registry.models import Design, User
from registry.pages.before_pulling import ORDER, STEPS, SYMPTOMS
from registry.pages.cautions import CAUTIONS, SIGNS, cautions_for


def test_every_caution_has_its_longer_word(client: Client, db: None) -> None:
    page = client.get("/cautions/").content.decode()
    for caution in CAUTIONS:
        assert f'id="{caution.slug}"' in page
        assert caution.more


@pytest.mark.parametrize("place", ["bench", "check", "before", "after"])
def test_gravest_caution_comes_first(place: str) -> None:
    signs = [list(SIGNS).index(caution.sign) for caution in cautions_for(place)]
    assert signs
    assert signs == sorted(signs)


@pytest.mark.parametrize("symptom", list(SYMPTOMS))
def test_checks_before_pulling_end_at_the_connector(client: Client, db: None, symptom: str) -> None:
    page = client.get(f"/before-pulling/?symptom={symptom}").content.decode()
    names = [str(STEPS[key].name) for key in ORDER[symptom]]
    places = [page.index(name) for name in names]
    assert places == sorted(places)
    assert names[-1] == "Reading at the unplugged connector"
    assert "no odds are given" in page


def test_front_page_of_an_empty_registry_says_the_first_step(client: Client, db: None) -> None:
    assert "Nothing yet." in client.get("/").content.decode()


@pytest.mark.parametrize(
    "query",
    ["od ferry-selector.12", "orbel", "slow four", "six pins, five positions", "sechs Pins, 5 Stellungen"],
)
def test_search_forgives(client: Client, design: Design, query: str) -> None:
    page = client.get("/designs/", {"q": query}).content.decode()
    assert f'href="/designs/{design.uuid}/"' in page


@pytest.mark.parametrize("query", ["seven pins", "nothing of the kind", "\0", "%_", "'" * 300])
def test_search_without_a_result_offers_what_else_to_do(client: Client, design: Design, query: str) -> None:
    answer = client.get("/designs/", {"q": query})
    assert answer.status_code == 200
    if query != "\0":
        assert "Propose it as a new design" in answer.content.decode()


def test_a_registry_without_designs_says_what_the_first_step_is(client: Client, db: None) -> None:
    page = client.get("/designs/").content.decode()
    assert "propose the switch that you have in hand" in page
    assert "Try fewer words" not in page


PROPOSAL = {
    "name": "Lorry selector",
    "maker": "Orbel & Daughters",
    "face": "1 2 3\n4 - 5",
    "viewing": "into_switch",
    "common": "1",
    "positions": "P park *\nR reverse\nN neutral *",
    "vehicles": "Refuse lorry, 2011-2016",
    "part_numbers": "OD 77, OD-78",
}


def test_proposed_design_can_be_used_at_once(client: Client, reader: User) -> None:
    client.force_login(reader)
    answer: Any = client.post("/designs/propose/", PROPOSAL)
    design = Design.objects.get(name="Lorry selector")
    assert answer.url == f"/designs/{design.uuid}/"
    assert [(p.label, p.name, p.releases_starter) for p in design.positions.all()] == [
        ("P", "park", True), ("R", "reverse", False), ("N", "neutral", True),
    ]  # fmt: skip
    pins = design.connector.pins.order_by("order")
    assert [(p.row, p.column, p.empty) for p in pins] == [
        (1, 1, False), (1, 2, False), (1, 3, False), (2, 1, False), (2, 2, True), (2, 3, False),
    ]  # fmt: skip
    page = client.get(answer.url).content.decode()
    assert "Not yet looked at by a moderator" in page


def test_faults_of_a_proposal_stand_beside_their_fields(client: Client, reader: User) -> None:
    client.force_login(reader)
    answer = client.post("/designs/propose/", {**PROPOSAL, "name": "", "common": "9", "face": "1 1"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "There is no pin “9”." in page
    assert "Named twice: 1." in page
    assert not Design.objects.exists()


def test_unknown_address_offers_the_search(client: Client, db: None) -> None:
    answer = client.get("/nowhere/")
    assert answer.status_code == 404
    assert 'role="search"' in answer.content.decode()


@pytest.mark.parametrize("path", ["/", "/cautions/", "/account/login/", "/nowhere/"])
def test_policy_allows_nothing_inline(client: Client, db: None, path: str) -> None:
    answer = client.get(path)
    policy = answer["Content-Security-Policy"]
    assert "unsafe" not in policy
    page = answer.content.decode()
    assert " style=" not in page
    assert "<script>" not in page
