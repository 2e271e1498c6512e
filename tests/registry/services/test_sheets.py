from __future__ import annotations

import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core.exceptions import PermissionDenied
from django.db import connections

from registry.errors import RegistryErrors
from registry.models import Reading, Sheet, SheetVersion, User
from registry.services.catalogue import design_propose
from registry.services.sheets import sheet_amend, sheet_restore, sheet_submit, sheet_withdraw

DESIGN = {
    "name": "Harrow 5",
    "maker": "Orbel & Daughters",
    "positions": [
        {"label": "P", "name": "park", "releases_starter": True},
        {"label": "R", "name": "reverse", "aliases": ["REV"]},
        {"label": "N", "name": "neutral", "releases_starter": True},
    ],
    "pins": ["1", "2", "3"],
    "common": "1",
    "part_numbers": ["OD-77 120.4"],
}
PATTERN = {("P", "2"): "0.4", ("P", "3"): "OL", ("R", "2"): "OL", ("R", "3"): "0,5", ("N", "2"): "cont"}


def account(name: str) -> User:
    return User.objects.create_user(f"{name}@workshop.example")


def sheet_json(design: str = "Harrow 5", **changes: object) -> dict[str, object]:
    readings = [
        {"position": position, "pin": pin, "against": "1", "reading": reading}
        for (position, pin), reading in PATTERN.items()
    ]
    return {
        "client_id": str(uuid.uuid4()),
        "design": design,
        "unit": {"key": "shelf 3"},
        "measured_it_myself": True,
        "meter": {"name": "bench meter", "lead_ohm": "0.1", "apart_shows": "1"},
        "readings": readings,
        **changes,
    }


@pytest.fixture
def design(db):
    return design_propose(by=account("proposer"), body=DESIGN)


def test_sheet_is_kept_as_typed(design):
    sheet = sheet_submit(by=account("reader"), body=sheet_json())
    typed = set(Reading.objects.filter(version__sheet=sheet).values_list("as_typed", "kind"))
    assert typed == {
        ("0.4", "value"),
        ("OL", "over_limit"),
        ("0,5", "value"),
        ("cont", "continuity"),
    }


def test_guest_cannot_submit(design):
    with pytest.raises(PermissionDenied):
        sheet_submit(by=None, body=sheet_json())


def test_suspended_account_cannot_submit(design):
    reader = account("reader")
    reader.suspended_at = "2026-01-01T00:00Z"
    reader.save()
    with pytest.raises(PermissionDenied, match="suspended"):
        sheet_submit(by=User.objects.get(pk=reader.pk), body=sheet_json())


def test_replay_gets_the_first_answer(design):
    reader, body = account("reader"), sheet_json()
    assert sheet_submit(by=reader, body=body) == sheet_submit(by=reader, body=body)
    assert Sheet.objects.count() == 1 and Reading.objects.count() == len(PATTERN)


def test_same_id_with_another_body_is_an_error(design):
    reader, body = account("reader"), sheet_json()
    sheet_submit(by=reader, body=body)
    with pytest.raises(RegistryErrors) as caught:
        sheet_submit(by=reader, body={**body, "note": "something else"})
    assert [error.code for error in caught.value] == ["client_id_used"]


def test_every_fault_is_named_at_its_field(design):
    body = sheet_json(unit={"key": ""}, read_on="yesterday", held_good="magic")
    body["readings"] = [
        {"position": "P", "pin": "2", "against": "1", "reading": "1k2k"},
        {"position": "X", "pin": "2", "against": "1", "reading": "0.4"},
        {"position": "R", "pin": "9", "against": "1", "reading": "0.4"},
        {"position": "N", "pin": "2", "against": "2", "reading": "0.4"},
    ]
    with pytest.raises(RegistryErrors) as caught:
        sheet_submit(by=account("reader"), body=body)
    assert {error.field for error in caught.value} == {
        "/unit/key",
        "/read_on",
        "/held_good",
        "/readings/0/reading",
        "/readings/1/position",
        "/readings/2/pin",
        "/readings/3/against",
    }
    assert Sheet.objects.count() == 0


def test_alias_names_its_position(design):
    body = sheet_json(readings=[{"position": "REV", "pin": "3", "against": "1", "reading": "0.3"}])
    sheet = sheet_submit(by=account("reader"), body=body)
    assert Reading.objects.get(version__sheet=sheet).place.position.label == "R"


def test_meters_own_sign_is_over_limit_on_its_owners_sheet(design):
    body = sheet_json(readings=[{"position": "P", "pin": "3", "against": "1", "reading": "1"}])
    sheet = sheet_submit(by=account("reader"), body=body)
    assert Reading.objects.get(version__sheet=sheet).kind == "over_limit"


def test_amending_keeps_the_old_version(design):
    reader, body = account("reader"), sheet_json()
    sheet = sheet_submit(by=reader, body=body)
    body["readings"][0]["reading"] = "OL"
    version = sheet_amend(by=reader, sheet=sheet, on_version=1, body=body, reason="wrong row")
    assert (version.number, version.is_current) == (2, True)
    first = SheetVersion.objects.get(sheet=sheet, number=1)
    assert not first.is_current and first.readings.filter(as_typed="0.4").exists()


def test_amending_on_an_old_version_is_refused(design):
    reader, body = account("reader"), sheet_json()
    sheet = sheet_submit(by=reader, body=body)
    sheet_amend(by=reader, sheet=sheet, on_version=1, body=body, reason="first")
    with pytest.raises(RegistryErrors) as caught:
        sheet_amend(by=reader, sheet=sheet, on_version=1, body=body, reason="second")
    assert [error.code for error in caught.value] == ["version_stale"]


def test_nobody_amends_anothers_sheet(design):
    sheet = sheet_submit(by=account("reader"), body=sheet_json())
    with pytest.raises(PermissionDenied):
        sheet_amend(by=account("other"), sheet=sheet, on_version=1, body=sheet_json(), reason="mine")


def test_change_after_others_pattern_was_seen_is_no_first_pass(design):
    sheet_submit(by=account("earlier"), body=sheet_json())
    reader, body = account("reader"), sheet_json()
    sheet = sheet_submit(by=reader, body=body)
    body["readings"][0]["reading"] = "OL"
    version = sheet_amend(by=reader, sheet=sheet, on_version=1, body=body, reason="looked again")
    changed = version.readings.filter(first_pass=False)
    assert [reading.as_typed for reading in changed] == ["OL"]


def test_second_pass_is_kept_apart(design):
    body = sheet_json()
    body["second_pass"] = [{"position": "P", "pin": "2", "against": "1", "reading": "OL"}]
    sheet = sheet_submit(by=account("reader"), body=body)
    late = Reading.objects.get(version__sheet=sheet, first_pass=False)
    assert (late.as_typed, late.kind, late.version.number) == ("OL", "over_limit", 2)
    first = Reading.objects.get(version__sheet=sheet, version__number=1, place=late.place)
    assert (first.as_typed, first.first_pass) == ("0.4", True)


def test_withdrawn_sheet_can_be_brought_back(design):
    reader = account("reader")
    sheet = sheet_submit(by=reader, body=sheet_json())
    sheet_withdraw(by=reader, sheet=sheet, reason="wrong unit")
    sheet.refresh_from_db()
    assert sheet.withdrawn_reason == "wrong unit"
    assert sheet.withdrawn_at is not None and Reading.objects.count() == len(PATTERN)
    sheet_restore(by=reader, sheet=sheet)
    sheet.refresh_from_db()
    assert sheet.withdrawn_at is None


@pytest.mark.django_db(transaction=True)
def test_two_copies_sent_at_once_are_stored_once():
    design_propose(by=account("proposer"), body=DESIGN)
    reader, body = account("reader"), sheet_json()

    def send(_: int) -> int:
        try:
            return sheet_submit(by=reader, body=body).pk
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        answers = set(pool.map(send, range(4)))
    assert len(answers) == 1 and Sheet.objects.count() == 1
