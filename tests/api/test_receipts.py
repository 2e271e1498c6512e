"""A receipt is made from what is at hand, with few statements; it says what reading the sheet back says."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from registry.models import AuditEntry, Change, Design, LeadResistance, Meter, PartNumber, Sheet, Unit, User
from registry.services.audit import stored_faults
from registry.services.sheets import sheet_take
from registry.tasks import refresh_chart
from tests.api.made import made_design, sheet_body

SEND = "/api/v1/submissions/"


@pytest.fixture(autouse=True)
def queue(settings: Any) -> None:
    settings.TASKS_QUEUE = "database"


@pytest.fixture(autouse=True)
def no_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    class Refreshes:
        module_path = refresh_chart.module_path

        @staticmethod
        def enqueue(design_id: int) -> None: ...

    monkeypatch.setattr("registry.services.refreshes.refresh_chart", Refreshes)


BODIES: dict[str, dict[str, Any]] = {
    "plain": {},
    "described": {
        "name": "the old one",
        "distance_km": 84000,
        "note": "two lines\nof it",
        "read_on": "2026-01-02",
        "units_claimed": 1,
        "source_class": "original",
        "read_at": "connector",
        "unit": {"key": "u9", "tag_code": "T-1", "date_code": "2219", "part_number": "qk 0417/3 x"},
    },
    "own meter": {
        "meter": {
            "name": "m",
            "limit_ohm": "2M",
            "lead_ohm": "0.2",
            "apart_shows": "1",
            "buzzer_limit_ohm": 30,
        }
    },
    "suspect": {"purpose": "suspect", "held_good": "no"},
    "second pass": {"second_pass": [{"position": "P", "pin": "2", "against": "1", "reading": "7"}]},
}


@pytest.mark.parametrize("kind", BODIES)
def test_the_receipt_is_what_reading_the_sheet_back_says(
    kind: str, bearer: APIClient, design: Design
) -> None:
    PartNumber.objects.create(number="QK-0417/3-X")
    receipt = bearer.post(SEND, sheet_body(design, **BODIES[kind]))
    assert receipt.status_code == 201, receipt.content
    read = bearer.get(receipt["Location"])
    assert receipt.json() == read.json() and receipt["ETag"] == read["ETag"]


def test_the_readings_of_a_receipt_are_as_typed_pin_before_against(bearer: APIClient, design: Design) -> None:
    body = sheet_body(design)
    for row in body["readings"][::2]:
        row["pin"], row["against"] = row["against"], row["pin"]
    body["readings"].reverse()
    receipt = bearer.post(SEND, body)
    typed = [(row["position"], row["pin"], row["against"], row["reading"]) for row in body["readings"]]
    told = [(r["position"], r["pin"], r["against"], r["reading"]) for r in receipt.json()["readings"]]
    assert told == typed and receipt.json() == bearer.get(receipt["Location"]).json()


def test_a_sheet_costs_few_statements(
    bearer: APIClient, design: Design, django_capture_on_commit_callbacks: Any
) -> None:
    """Savepoints, since a test runs in a transaction, count as the transactions that they stand for.

    SQLite has no statement that tells what a mark was, nor one that numbers several changes.
    """
    with django_capture_on_commit_callbacks(execute=True):
        bearer.post(SEND, sheet_body(design, unit={"key": "u1"}))
    with CaptureQueriesContext(connection) as asked, django_capture_on_commit_callbacks(execute=True):
        answer = bearer.post(SEND, sheet_body(design, unit={"key": "u2"}))
    assert answer.status_code == 201
    told = "\n".join(query["sql"] for query in asked.captured_queries)
    assert len(asked) <= (28 if connection.vendor == "postgresql" else 30), told
    assert 'UPDATE "registry_unit"' not in told and told.count('FROM "registry_mirrorsource"') == 1


def test_log_and_feed_are_settled_once_for_a_sheet(
    bearer: APIClient, design: Design, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        bearer.post(SEND, sheet_body(design))
    assert not AuditEntry.objects.filter(number=None).exists() and stored_faults() == []
    sheet = Sheet.objects.get()
    change = Change.objects.get(kind=Change.Kind.SHEET_ADDED)
    assert change.number is not None and change.design_uuid == design.uuid
    assert change.payload == {
        "submission": str(sheet.uuid),
        "version": 1,
        "contributor": sheet.contributor.pseudonym,
        "digest": sheet.versions.get().digest,
    }


def test_the_same_meter_again_is_written_when_it_changed_only(reader: User, design: Design) -> None:
    meter = {"name": "bench", "limit_ohm": 2e7, "lead_ohm": 0.2}
    sheet_take(by=reader, body=sheet_body(design, unit={"key": "u1"}, meter=meter))
    with CaptureQueriesContext(connection) as asked:
        sheet_take(by=reader, body=sheet_body(design, unit={"key": "u2"}, meter=meter))
    assert not [q for q in asked.captured_queries if 'UPDATE "registry_meter"' in q["sql"]]
    changed = {**meter, "limit_ohm": 2e6, "lead_ohm": 0.3}
    sheet_take(by=reader, body=sheet_body(design, unit={"key": "u3"}, meter=changed))
    assert Meter.objects.get().limit_ohm == 2e6 and LeadResistance.objects.get().ohm == 0.3


def test_a_unit_keeps_what_a_later_sheet_leaves_out(reader: User, design: Design) -> None:
    told = {"key": "u1", "tag_code": "T-1", "date_code": "2219"}
    sheet_take(by=reader, body=sheet_body(design, unit=told))
    sheet_take(by=reader, body=sheet_body(design, unit={"key": "u1"}))
    sheet_take(by=reader, body=sheet_body(design, unit={"key": "u1", "date_code": "2220"}))
    unit = Unit.objects.get()
    assert (unit.tag_code, unit.date_code) == ("T-1", "2220")


def test_a_name_of_another_sheet_is_refused_and_nothing_is_left(reader: User, design: Design) -> None:
    from registry.errors import RegistryErrors

    sheet_take(by=reader, body=sheet_body(design, unit={"key": "u1"}, name="mine"))
    with pytest.raises(RegistryErrors) as raised:
        sheet_take(by=reader, body=sheet_body(design, unit={"key": "u2"}, name="mine"))
    assert [error.code for error in raised.value.errors] == ["sheet_name_used"]
    assert Unit.objects.count() == 1


def test_an_alias_never_hides_the_label_of_a_later_position(reader: User) -> None:
    from registry.models import PositionAlias
    from registry.selectors.labels import DesignLabels

    design = made_design(reader, "Aliased")
    first, second, *_others = design.positions.order_by("step")
    for label in (second.label, "one", "two"):
        PositionAlias.objects.create(position=first, label=label)
    labels = DesignLabels(design).positions
    assert labels[second.label].pk == second.pk and {labels[w].pk for w in ("one", "two")} == {first.pk}
