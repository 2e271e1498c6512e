"""The demo is what the README says it is; what went wrong in its sheets is found by computing, not told."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings as project
from django.db import transaction
from django.test import override_settings

from registry.errors import RegistryError
from registry.models import ChartRevision, Contributor, Design, Pin, Sheet, SheetFinding, User, Workshop
from registry.permissions import is_moderator
from registry.selectors.facts import facts_of
from registry.services.demo.cooperative import demo_load
from registry.services.lives.evidence import life_evidence

FOLDER = project.BASE_DIR / "fixtures_demo"
TROUBLES = json.loads((Path(__file__).parents[2] / "data" / "demo_troubles.json").read_text())
# What was done to a sheet, and what the engine should call it.
EXPECTED = {
    "mirrored": "mirrored_pins",
    "shifted": "shifted_positions",
    "wrong common": "wrong_common",
    "exchanged": "exchanged",
    "coordinated": "coordinated",
}
pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module", autouse=True)
def _demo(django_db_setup: None, django_db_blocker: object) -> Iterator[None]:
    """Loaded once for the module, rolled back at its end."""
    with django_db_blocker.unblock(), transaction.atomic():  # type: ignore[attr-defined]
        with override_settings(DEBUG=True):
            demo_load(FOLDER)
        yield
        transaction.set_rollback(True)


def rows_stored() -> dict[str, int]:
    models = [*apps.get_app_config("registry").get_models(), *apps.get_app_config("account").get_models()]
    return {model.__name__: model.objects.count() for model in models}


def findings(trouble: str) -> Counter[str]:
    names = [name for name, done in TROUBLES.items() if done == trouble]
    found = SheetFinding.objects.filter(sheet__name__in=names)
    assert found.count() == len(names)
    return Counter(found.values_list("finding", flat=True))


def test_refused_where_debug_is_off() -> None:
    with override_settings(DEBUG=False), pytest.raises(RegistryError) as caught:
        demo_load(FOLDER)
    assert caught.value.code == "demo_refused"


def test_loading_again_doubles_nothing() -> None:
    before = rows_stored()
    with override_settings(DEBUG=True):
        again = demo_load(FOLDER)
    assert (again.plan.sheets_new, again.plan.sheets_known) == ([], len(TROUBLES))
    assert rows_stored() == before


def test_scenario_has_what_it_promises() -> None:
    assert Workshop.objects.count() == 6
    assert Contributor.objects.exclude(import_name=None).exclude(workshop=None).count() == 20
    assert Sheet.objects.count() == len(TROUBLES) == 146
    designs = {design.name: design for design in Design.objects.all()}
    pins = {name: Pin.objects.filter(connector__design=d, empty=False).count() for name, d in designs.items()}
    assert len(designs) == 8 and set(pins.values()) == {4, 5, 6, 7, 8}
    assert [name for name, design in designs.items() if design.connector.common is None] == ["Pellgrove PX-8"]
    older = designs["Tarnvoe TS-4 set"]
    assert older.actuation == "set" and [d.name for d in older.replaced_by.all()] == ["Tarnvoe TL-4"]
    assert [name for name, design in designs.items() if design.state == "proposed"] == ["Pellgrove FA-5"]


def test_every_sign_in_works_and_one_may_moderate() -> None:
    people = json.loads((FOLDER / "people.json").read_text())
    for account in people["accounts"]:
        user = User.objects.get(email=account["email"])
        assert user.check_password(people["password"])
        assert user.contributor.import_name == account["contributor"] and user.contributor.sheets.exists()
        assert is_moderator(user) is (account["role"] == "moderator")


def test_each_design_has_a_published_chart_and_one_has_two_variants() -> None:
    charts = {r.design.name: json.loads(bytes(r.content)) for r in ChartRevision.objects.all()}
    assert len(charts) == 8
    assert {name for name, chart in charts.items() if len(chart["variants"]) > 1} == {"Quillbrack QB-6"}
    states = Counter(cell["state"] for cell in charts["Tarnvoe TL-4"]["variants"][0]["cells"])
    assert states["resistive"] == 6


@pytest.mark.parametrize("trouble", EXPECTED)
def test_mistakes_of_readers_are_found(trouble: str) -> None:
    assert set(findings(trouble)) == {EXPECTED[trouble]}


def test_units_with_a_fault_are_told_from_mistakes() -> None:
    # A worn contact that was only half read passes for a slip; no fault passes for a mistake of the sheet.
    found = findings("faulty")
    assert found["faulty_unit"] > found.total() / 2
    assert set(found) <= {"faulty_unit", "slip"}


def test_good_sheets_are_left_alone() -> None:
    found = findings("good") + findings("partial") + findings("read twice")
    assert set(found) <= {"fits", "slip", "other_variant"}


def test_people_said_what_to_have_ready() -> None:
    facts = {
        (line.question.code, line.fact.subject if line.fact else ""): line.agreement["standing"]
        for line in facts_of(Design.objects.get(name="Quillbrack QB-5"))
    }
    assert facts["adjusted", ""] == "agreed"
    assert facts["tool", "drain pan"] not in ("agreed", "provisional")
    assert facts["fluid", ""] == "unread"


def test_the_demo_knows_how_long_units_last() -> None:
    evidence = life_evidence(Design.objects.get(name="Quillbrack QB-5"))
    fleet, volunteers = (evidence.cohorts[name]["groups"] for name in ("fleet", "volunteers"))
    original = fleet[0]
    assert (original["class"], original["reason"]) == ("original", "")
    assert original["units"] >= 70 and original["b10_km"]["low"] > 0
    assert ("equivalent", 34) in [(group["class"], group["units"]) for group in volunteers]
