"""Vehicles from a file, the calendar, the pages and what leaves as CSV."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import vobject
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import (
    Design,
    DistanceReading,
    Organisation,
    User,
    Vehicle,
)
from registry.services.fleet.organisations import (
    feed_make,
    organisation_make,
    organisation_set,
)
from registry.services.fleet.table import vehicles_import, vehicles_look
from registry.services.fleet.vehicles import distance_add
from tests.registry.pages.made import made_design
from tests.registry.services.fleet.made import add, day

pytestmark = pytest.mark.django_db


def calendar_days(body: bytes) -> dict[str, date]:
    """Read by another library than the one that writes it."""
    calendar = vobject.readOne(body.decode())
    return {event.summary.value: event.dtstart.value for event in calendar.vevent_list}


def test_the_calendar_is_read_by_another_library_and_keeps_the_rules(
    owner: User, fleet: Organisation
) -> None:
    organisation_set(by=owner, organisation=fleet, body={"policy_km": "60000"})
    long = "Kehrmaschine für den Hafen, Öl 12 " + "x" * 60
    vehicle = add(owner, fleet, long, km=10_000, read_on=day(100), fitted_km=0)
    distance_add(by=owner, vehicle=vehicle, body={"km": 20_000, "read_on": day(0)})
    add(owner, fleet, "Overdue, one; \\ two", km=70_000, fitted_km=0)
    answer = Client().get(reverse("fleet_feed", args=[feed_make(by=owner, organisation=fleet)]))
    body = answer.content
    days = calendar_days(body)
    assert days[f"{long}: replace the lever switch"] == timezone.localdate() + timedelta(days=400)
    assert days["Overdue, one; \\ two: replace the lever switch"] == timezone.localdate()
    lines = body.split(b"\r\n")
    assert lines[-1] == b"" and b"\n" not in body.replace(b"\r\n", b"")
    assert max(len(line) for line in lines) <= 75  # RFC 5545, section 3.1: octets without the line break
    for line in lines:
        line.decode()  # no character is cut by folding
    stamps = [line for line in lines if line.startswith(b"DTSTAMP")]
    assert stamps and all(stamp.endswith(b"Z") for stamp in stamps)  # UTC; days carry no time zone at all


def test_a_file_is_looked_at_then_stored_whole_or_not_at_all(owner: User, fleet: Organisation) -> None:
    good = b"vehicle;km;date\nSweeper 1;12000;%s\nSweeper 2;9000;\n" % day(4).encode()
    look = vehicles_look(by=owner, organisation=fleet, data=good)
    assert len(look.rows) == 2 and not look.errors and not Vehicle.objects.exists()
    assert vehicles_import(by=owner, organisation=fleet, data=good) == 2
    assert vehicles_import(by=owner, organisation=fleet, data=good) == 2
    assert Vehicle.objects.count() == 2 and DistanceReading.objects.count() == 2
    bad = b"label,km\nSweeper 3,1000\nSweeper 4,far\nSweeper 1,5\n"
    with pytest.raises(RegistryErrors) as found:
        vehicles_import(by=owner, organisation=fleet, data=bad)
    assert [(error.line, error.column) for error in found.value] == [(3, "km"), (4, "km")]
    assert Vehicle.objects.count() == 2
    mapped = vehicles_look(
        by=owner, organisation=fleet, data=b"Wagen,Stand\nA,5\n", mapping={"label": 0, "km": 1}
    )
    assert mapped.rows == [(2, {"label": "A", "km": "5"})] and not mapped.errors


def test_pages_take_what_is_typed_and_give_it_back_beside_its_error(owner: User, client: Client) -> None:
    client.force_login(owner)
    made = client.post(reverse("fleets"), {"name": "Marsh Quay"})
    fleet = Organisation.objects.get()
    assert made.headers["Location"] == reverse("fleet", args=[fleet.uuid])
    page = client.post(reverse("fleet", args=[fleet.uuid]), {"label": "Sweeper 9", "km": "far"})
    assert page.status_code == 422 and 'value="Sweeper 9"' in page.content.decode()
    client.post(
        reverse("fleet", args=[fleet.uuid]), {"label": "Sweeper 9", "km": "9000", "fitted_km": "1000"}
    )
    vehicle = Vehicle.objects.get()
    page = client.post(reverse("vehicle", args=[vehicle.uuid]), {"act": "distance", "km": "1"}, follow=True)
    assert "The counter showed 9000 km" in page.content.decode() or page.status_code == 200
    for name in ("fleet", "fleet_care", "fleet_table"):
        assert client.get(reverse(name, args=[fleet.uuid])).status_code == 200
    answer = client.post(reverse("fleet_care", args=[fleet.uuid]), {"act": "invite", "role": "reader"})
    assert "/fleet/join/" in answer.content.decode()
    text = client.get(reverse("fleet_csv", args=[fleet.uuid])).content.decode()
    assert text.splitlines()[1].startswith("Sweeper 9,")


def test_a_label_that_looks_like_a_formula_is_made_harmless_in_csv(owner: User, client: Client) -> None:
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    add(owner, fleet, "=1+1")
    client.force_login(owner)
    assert "'=1+1" in client.get(reverse("fleet_csv", args=[fleet.uuid])).content.decode()


def test_design_named_in_a_file_is_found_by_part_number(owner: User, fleet: Organisation) -> None:
    design: Design = made_design(owner)
    vehicle = add(owner, fleet, "Sweeper 1", design=design.part_numbers.get().number)
    assert vehicle.design == design
    with pytest.raises(RegistryErrors) as found:
        add(owner, fleet, "Sweeper 2", design="no such switch")
    assert [error.field for error in found.value] == ["/design"]
