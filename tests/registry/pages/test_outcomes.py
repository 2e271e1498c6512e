"""What a vehicle did and whether it was the switch: told once ten outcomes are known, never ranked."""

from __future__ import annotations

import pytest
from django.core.cache import cache
from django.test import Client

from registry.models import Design, User
from tests.registry.outcomes_made import finished, vouched
from tests.registry.pages.made import account

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nothing_kept() -> None:
    cache.clear()


@pytest.fixture
def known() -> list[User]:
    """Three voices."""
    people = [account(f"known{n}", f"Yard {n}") for n in range(3)]
    for person in people:
        vouched(person)
    return people


def life(client: Client, design: Design) -> str:
    return client.get(f"/designs/{design.uuid}/life/").content.decode()


def before(client: Client, query: str) -> str:
    return client.get(f"/before-pulling/?{query}").content.decode()


def test_nine_outcomes_say_nothing(client: Client, design: Design, known: list[User]) -> None:
    finished(known, design, "silent", 9, 9)
    assert "Fewer than ten outcomes of any symptom are known." in life(client, design)
    assert "So no odds are given." in before(client, f"symptom=silent&design={design.uuid}")
    assert client.get(f"/api/v1/designs/{design.uuid}/life/").json()["outcomes"] == []


def test_ten_are_a_sentence_with_its_interval(client: Client, design: Design, known: list[User]) -> None:
    finished(known, design, "silent", 12, 5)
    finished(known, design, "display", 3, 3)
    # Clopper-Pearson of 5 in 12, statsmodels 0.15.0 proportion_confint(5, 12, method="beta"): 0.1517 0.7233
    said = "of 12 units checked for this, in 5 the switch was at fault (95 %: 15 % to 72 %)."
    page = life(client, design)
    assert said in page
    assert page.count("the switch was at fault") == 1  # three of the display say nothing
    assert said in before(client, f"symptom=silent&design={design.uuid}")
    assert said in before(client, "symptom=silent")  # of all designs
    assert "So no odds are given." in before(client, "symptom=display")
    (outcome,) = client.get(f"/api/v1/designs/{design.uuid}/life/").json()["outcomes"]
    assert (outcome["symptom"], outcome["checked"], outcome["at_fault"]) == ("silent", 12, 5)
    assert outcome["interval"] == pytest.approx([0.15165, 0.72333], abs=1e-5)


def test_symptoms_stand_in_the_order_in_which_they_are_asked(
    client: Client, design: Design, known: list[User]
) -> None:
    finished(known, design, "comes_and_goes", 10, 10)
    finished(known, design, "silent", 10, 1)
    page = life(client, design)
    assert page.index("The starter stays silent") < page.index("It comes and goes")


@pytest.mark.parametrize("design_text", ["x", "6b0e5f0a-6a44-4a55-9d29-1d9f0f2b7c11", ""])
def test_a_design_that_is_none_is_left_out(client: Client, design_text: str) -> None:
    assert client.get(f"/before-pulling/?symptom=silent&design={design_text}").status_code == 200
