"""How contributors read: each sees their own, moderators see all, no program and no export anybody's."""

from __future__ import annotations

import json
import re

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse

from registry.bridge.habits import reading_habits
from registry.models import ReliabilitySnapshot, User
from registry.permissions import may
from registry.services.accounts import contributor_of
from registry.services.habits import ORDERS, habits_of, habits_of_all
from registry.services.snapshots import snapshot_in_force
from tests.registry.moderation.made import account, made_design, made_sheet, readers

pytestmark = pytest.mark.django_db

MANDEL = {"h_limit": 1.9, "k_limit": 2.2, "contributors": 6}
AS_OTHERS = {
    "miss": [1.0, 99.0],
    "invent": [1.0, 199.0],
    "sheets": 5.0,
    "mistakes": {"mirrored_pins": 0.01, "shifted_positions": 0.0},
    "leads_ohm": 0.01,
    "mandel": {"h": 0.1, "k": 0.9, **MANDEL},
    "made_up": 0.001,
}
CARELESS = {**AS_OTHERS, "miss": [30.0, 70.0], "mistakes": {"mirrored_pins": 3.9}, "leads_ohm": 0.45}
HARDLY_READ = {**AS_OTHERS, "miss": [1.0, 2.0], "sheets": 1.0, "mandel": None}
APART = {**AS_OTHERS, "mandel": {"h": -2.4, "k": 2.9, **MANDEL}, "made_up": 0.62}


@pytest.fixture
def people() -> dict[str, User]:
    """Four readers in a snapshot of their own, and one of whom it knows nothing."""
    found = dict(zip(("careless", "hardly", "apart", "plain", "new"), readers(5), strict=True))
    entries = {"careless": CARELESS, "hardly": HARDLY_READ, "apart": APART, "plain": AS_OTHERS}
    content = {
        **snapshot_in_force().content,
        "contributors": {contributor_of(found[name]).pseudonym: entry for name, entry in entries.items()},
    }
    ReliabilitySnapshot.objects.create(number=1, engine="test", digest="0" * 64, content=content)
    return found


@pytest.fixture
def moderator() -> User:
    return account("moderator", moderator=True)


def test_a_rate_comes_with_its_interval() -> None:
    """Beta(30, 70): 0.2145 to 0.3930 between 2.5 % and 97.5 % (scipy.stats.beta.interval)."""
    found = reading_habits(CARELESS)
    assert found.miss.share == pytest.approx(0.3)
    assert (found.miss.low, found.miss.high) == pytest.approx((0.2145, 0.3930), abs=5e-4)
    assert found.mistakes == (("mirrored_pins", 4),)
    assert found.leads_seen
    assert not found.level_unusual
    assert reading_habits(APART).level_unusual
    assert reading_habits(APART).spread_unusual
    assert not reading_habits(HARDLY_READ).spread_unusual


def test_each_sees_their_own_and_moderators_see_all(people: dict[str, User], moderator: User) -> None:
    own = contributor_of(people["careless"])
    assert habits_of(own, by=people["careless"]) == habits_of(own, by=moderator) == reading_habits(CARELESS)
    assert habits_of(contributor_of(people["new"]), by=moderator) is None
    with pytest.raises(PermissionDenied):
        habits_of(own, by=people["plain"])
    with pytest.raises(PermissionDenied):
        habits_of_all(by=people["careless"])
    people["careless"].suspended_at = people["careless"].date_joined
    assert not may(people["careless"], "see_habits", own)


def test_the_list_puts_who_certainly_slips_before_who_was_hardly_read(
    people: dict[str, User], moderator: User
) -> None:
    def listed(order: str) -> list[str]:
        names = {contributor_of(user).pseudonym: name for name, user in people.items()}
        return [names[row.contributor.pseudonym] for row in habits_of_all(by=moderator, order=order)]

    assert listed("miss")[:2] == ["careless", "hardly"]  # 30 % of 100 before a third of three
    assert listed("h")[0] == listed("k")[0] == listed("made_up")[0] == "apart"
    assert listed("h")[-1] == "hardly"
    assert listed("leads")[0] == listed("mistakes")[0] == "careless"
    assert listed("sheets")[-1] == "hardly"
    pseudonyms = [row.contributor.pseudonym for row in habits_of_all(by=moderator)]
    assert pseudonyms == sorted(pseudonyms)
    assert len(pseudonyms) == 4


def test_the_desk_lists_and_sorts_them(people: dict[str, User], moderator: User) -> None:
    client = Client()
    client.force_login(moderator)
    for order in ("", "nothing of the kind", *ORDERS):
        page = client.get(reverse("desk_habits"), {"sort": order})
        assert page.status_code == 200
        rows = re.findall(r'<th scope="row"><a href="[^"]+">([^<]+)', page.content.decode())
        by = order if order in ORDERS else ""
        assert rows == [r.contributor.pseudonym for r in habits_of_all(by=moderator, order=by)]
    page = client.get(reverse("desk_habits"), {"sort": "leads"}).content.decode()
    assert page.count('aria-sort="descending"') == 1
    assert page.index('aria-sort="descending"') < page.index("Contact read as open")
    assert "+0.45 Ω" in page
    assert page.count("unusual</small>") == 3  # leads of one, h and k of another
    assert "30 %" in page
    assert "21 % to 39 %" in page
    name = contributor_of(people["plain"]).pseudonym
    found = client.get(reverse("desk_habits"), {"q": name, "sort": "k"}).content.decode()
    assert found.count('<th scope="row">') == 1


def test_an_accounts_page_at_the_desk_says_how_it_reads(people: dict[str, User], moderator: User) -> None:
    client = Client()
    client.force_login(moderator)
    page = client.get(reverse("desk_account", args=[contributor_of(people["apart"]).uuid])).content.decode()
    assert "62 %" in page
    assert "usual within ±1.9" in page
    page = client.get(reverse("desk_account", args=[contributor_of(people["new"]).uuid])).content.decode()
    assert "no pass over all designs has had a sheet of theirs" in page


def test_ones_own_page_has_the_intervals_and_nothing_of_groups(people: dict[str, User]) -> None:
    made_sheet(people["careless"], made_design(people["plain"]))
    client = Client()
    client.force_login(people["careless"])
    page = client.get(reverse("own")).content.decode()
    assert "30 % (21 % to 39 %)" in page
    assert "about 4 sheets" in page
    assert "by 0.5 Ω" in page or "by 0.4 Ω" in page
    assert "coordinated" not in page


def test_no_program_and_no_account_file_gets_them(people: dict[str, User], moderator: User) -> None:
    client = Client()
    client.force_login(moderator)
    schema = client.get("/api/v1/schema/", headers={"Accept": "application/json"}).content.decode()
    own = json.dumps(client.get(reverse("own_data")).json())
    for word in ("leads_ohm", "made_up", "mandel"):
        assert word not in schema
        assert word not in own
