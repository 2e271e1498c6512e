"""A workshop's vehicles: distances on units, the due list, what other workshops find of it (nothing)."""

from __future__ import annotations

import math
import random
from datetime import date, timedelta
from typing import Any

import pytest
import vobject
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import (
    Design,
    DistanceReading,
    Fitting,
    LifeLaw,
    Membership,
    Organisation,
    Unit,
    UnitEvent,
    User,
    Vehicle,
)
from registry.selectors.fleet import due_list, organisation_for, vehicle_for
from registry.services.accounts import account_erase, contributor_of
from registry.services.fleet.digests import digests_mail
from registry.services.fleet.fittings import unit_fit, unit_remove
from registry.services.fleet.organisations import (
    digest_want,
    feed_make,
    feed_withdraw,
    member_invite,
    member_join,
    member_set,
    organisation_make,
    organisation_set,
)
from registry.services.fleet.table import vehicles_import, vehicles_look
from registry.services.fleet.vehicles import distance_add, vehicle_add
from registry.services.life_laws import laws_refresh
from registry.services.own_evidence import account_data
from tests.registry.pages.made import account, made_design

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(db: None) -> User:
    return account("owner")


@pytest.fixture
def fleet(owner: User) -> Organisation:
    return organisation_make(by=owner, body={"name": "Marsh Quay"})


def add(by: User, fleet: Organisation, label: str, **more: Any) -> Vehicle:
    return vehicle_add(by=by, organisation=fleet, body={"label": label, **more})


def day(back: int) -> str:
    return (timezone.localdate() - timedelta(days=back)).isoformat()


def joined(fleet: Organisation, owner: User, name: str, role: str) -> User:
    person = account(name)
    member_join(by=person, token=member_invite(by=owner, organisation=fleet, role=role))
    return person


def test_distance_on_the_unit_counts_from_its_fitting(owner: User, fleet: Organisation) -> None:
    vehicle = add(owner, fleet, "Sweeper 12", km=80_000, read_on=day(100), fitted_km=30_000, unit_km=5_000)
    assert due_list(fleet)[0].unit_km == 55_000
    distance_add(by=owner, vehicle=vehicle, body={"km": "90 500".replace(" ", ""), "read_on": day(0)})
    assert due_list(fleet)[0].unit_km == 65_500
    unit_remove(by=owner, vehicle=vehicle, body={"removed_km": 90_500, "because": "failed"})
    assert due_list(fleet)[0].unit_km is None
    unit_fit(by=owner, vehicle=vehicle, body={"fitted_km": 90_600})
    assert due_list(fleet)[0].unit_km == 0


def test_a_counter_runs_one_way_and_a_wrong_figure_can_be_replaced(owner: User, fleet: Organisation) -> None:
    vehicle = add(owner, fleet, "Sweeper 12", km=80_000, read_on=day(10))
    with pytest.raises(RegistryErrors) as found:
        distance_add(by=owner, vehicle=vehicle, body={"km": 79_000, "read_on": day(0)})
    assert [error.field for error in found.value] == ["/km"] and "80000 km" in str(found.value)
    distance_add(by=owner, vehicle=vehicle, body={"km": 78_000, "read_on": day(10)})
    distance_add(by=owner, vehicle=vehicle, body={"km": 79_000, "read_on": day(0)})
    assert DistanceReading.objects.filter(is_current=True).count() == 2
    assert DistanceReading.objects.count() == 3, "what was typed stays to be seen"


def test_policy_and_pace_give_the_day(owner: User, fleet: Organisation) -> None:
    organisation_set(by=owner, organisation=fleet, body={"policy_km": "60000"})
    vehicle = add(owner, fleet, "Sweeper 12", km=10_000, read_on=day(100), fitted_km=0)
    distance_add(by=owner, vehicle=vehicle, body={"km": 20_000, "read_on": day(0)})
    fleet.refresh_from_db()
    line = due_list(fleet)[0]
    assert line.due_km == 40_000
    assert line.due_on == timezone.localdate() + timedelta(days=400)  # 100 km a day
    assert line.chance is None and line.waiting is None, "nothing is known of such units yet"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"policy_km": "-1"}, "/policy_km"),
        ({"planned_cost": "100"}, "/breakdown_cost"),
        ({"name": ""}, "/name"),
        ({"next_km": "soon"}, "/next_km"),
    ],
)
def test_what_is_wrong_with_a_policy_is_said_at_its_field(
    owner: User, fleet: Organisation, body: dict[str, str], field: str
) -> None:
    with pytest.raises(RegistryErrors) as found:
        organisation_set(by=owner, organisation=fleet, body=body)
    assert [error.field for error in found.value] == [field]


@pytest.fixture
def large(owner: User, fleet: Organisation) -> Organisation:
    """2 000 vehicles, three designs, of which two have a law; made in bulk, with costs entered."""
    organisation_set(by=owner, organisation=fleet, body={"planned_cost": "300", "breakdown_cost": "2100"})
    designs = [made_design(owner, f"Selector {n}") for n in range(3)]
    for design, shape, scale in zip(designs, (2.1, 3.0), (210_000, 120_000), strict=False):
        LifeLaw.objects.create(design=design, shape=shape, scale_km=scale, units=80, failures=31)
    chance = random.Random(4)
    vehicles = Vehicle.objects.bulk_create(
        Vehicle(
            organisation=fleet,
            label=f"Lorry {n:04}",
            label_key=f"lorry {n:04}",
            design=chance.choice([*designs, None]),
        )
        for n in range(2000)
    )
    today = timezone.localdate()
    DistanceReading.objects.bulk_create(
        DistanceReading(vehicle=vehicle, km=km, read_on=today - timedelta(days=back))
        for vehicle in vehicles
        for km, back in [(chance.uniform(0, 1e5), 200), (chance.uniform(1e5, 2e5), 3)]
    )
    Fitting.objects.bulk_create(
        Fitting(vehicle=vehicle, design=vehicle.design, fitted_km=chance.uniform(0, 1e5))
        for vehicle in vehicles
        if chance.random() < 0.9
    )
    fleet.refresh_from_db()
    return fleet


def recomputed(fleet: Organisation) -> list[str]:
    """The order, worked out by other means: plain loops and the formula of the conditional Weibull chance."""
    rows = []
    for vehicle in Vehicle.objects.filter(organisation=fleet):
        fitting = vehicle.fittings.filter(removed_km=None).first()
        latest = vehicle.distances.filter(is_current=True).order_by("read_on").last()
        law = LifeLaw.objects.filter(design=vehicle.design).first()
        cost, left = None, math.inf
        if fitting is not None and latest is not None:
            on_unit = fitting.unit_km + latest.km - fitting.fitted_km
            if law is not None and law.shape is not None and law.scale_km is not None:
                ends = [(km / law.scale_km) ** law.shape for km in (on_unit, on_unit + fleet.next_km)]
                cost = (1 - math.exp(ends[0] - ends[1])) * (2100 - 300)
        rows.append(((cost is None, -(cost or 0.0), left, vehicle.label), vehicle.label))
    return [label for _key, label in sorted(rows)]


def test_two_thousand_vehicles_in_the_right_order_by_few_queries(
    owner: User, large: Organisation, client: Client, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(4):
        lines = due_list(large)
    found = [line.vehicle.label for line in lines]
    assert len(found) == 2000
    known = sum(line.waiting is not None for line in lines)
    assert 500 < known < 1500
    assert found[:known] == recomputed(large)[:known]
    client.force_login(owner)
    with django_assert_max_num_queries(8):
        assert client.get(reverse("fleet", args=[large.uuid])).status_code == 200


def test_a_distance_added_orders_the_list_anew(owner: User, large: Organisation) -> None:
    last = [line for line in due_list(large) if line.waiting is not None][-1]
    distance_add(by=owner, vehicle=last.vehicle, body={"km": 4e6, "read_on": day(0)})
    assert due_list(large)[0].vehicle == last.vehicle


def test_nothing_of_a_workshop_is_there_for_another(owner: User, fleet: Organisation) -> None:
    vehicle = add(owner, fleet, "Sweeper 12", km=80_000)
    token = feed_make(by=owner, organisation=fleet)
    other = account("other")
    theirs = organisation_make(by=other, body={"name": "Tollgate Yard"})
    addresses = [
        reverse("fleet", args=[fleet.uuid]),
        reverse("fleet_csv", args=[fleet.uuid]),
        reverse("fleet_care", args=[fleet.uuid]),
        reverse("fleet_table", args=[fleet.uuid]),
        reverse("vehicle", args=[vehicle.uuid]),
    ]
    for role in ("owner", "worker", "reader"):
        person = other if role == "owner" else joined(theirs, other, role, role)
        browser = Client()
        browser.force_login(person)
        for address in addresses:
            assert browser.get(address).status_code == 404, address
            assert browser.post(address, {"act": "policy", "name": "Mine"}).status_code == 404, address
        assert organisation_for(person, fleet.uuid) is None and vehicle_for(person, vehicle.uuid) is None
    with pytest.raises(PermissionDenied):
        distance_add(by=other, vehicle=vehicle, body={"km": 1})
    assert Client().get(reverse("fleet_feed", args=["wrong"])).status_code == 404
    assert Client().get(reverse("fleet_feed", args=[token])).status_code == 200
    feed_withdraw(by=owner, organisation=fleet)
    assert Client().get(reverse("fleet_feed", args=[token])).status_code == 404


def test_roles_are_kept_and_the_last_owner_stays(owner: User, fleet: Organisation) -> None:
    reader = joined(fleet, owner, "reader", "reader")
    vehicle = add(owner, fleet, "Sweeper 12")
    with pytest.raises(PermissionDenied):
        distance_add(by=reader, vehicle=vehicle, body={"km": 1})
    worker = joined(fleet, owner, "worker", "worker")
    distance_add(by=worker, vehicle=vehicle, body={"km": 1})
    with pytest.raises(PermissionDenied):
        organisation_set(by=worker, organisation=fleet, body={"policy_km": 1})
    own = Membership.objects.get(user=owner)
    with pytest.raises(RegistryErrors, match="one owner"):
        member_set(by=owner, organisation=fleet, member=own, role="reader")


def test_an_invitation_works_once(owner: User, fleet: Organisation) -> None:
    token = member_invite(by=owner, organisation=fleet, role="worker")
    member_join(by=account("one"), token=token)
    with pytest.raises(RegistryErrors, match="doesn't work any more"):
        member_join(by=account("two"), token=token)


def test_histories_go_to_the_registry_only_where_the_workshop_says_so(
    owner: User, fleet: Organisation
) -> None:
    design = made_design(owner)
    for n, shares in enumerate((False, True)):
        organisation_set(by=owner, organisation=fleet, body={"shares_units": shares})
        vehicle = add(
            owner, fleet, f"Sweeper {n}", design=design.name, km=90_000, fitted_km=10_000, unit_km=2_000
        )
        vehicle.refresh_from_db()
        unit_remove(by=owner, vehicle=vehicle, body={"removed_km": 90_000, "because": "failed"})
        assert UnitEvent.objects.count() == n
    event = UnitEvent.objects.get()
    assert (event.kind, event.distance_km, event.entered_km) == ("failed", 82_000, 2_000)
    assert "Sweeper" not in event.unit.key


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


def test_who_asked_for_it_hears_each_week_what_is_due(
    owner: User, fleet: Organisation, mailoutbox: Any
) -> None:
    organisation_set(by=owner, organisation=fleet, body={"policy_km": "60000"})
    add(owner, fleet, "Sweeper 12", km=70_000, fitted_km=0)
    add(owner, fleet, "Sweeper 13", km=10_000, fitted_km=0)
    assert digests_mail() == 0, "nobody asked"
    digest_want(by=owner, organisation=fleet, wants=True)
    assert digests_mail() == 1 and digests_mail() == 0
    (mail,) = mailoutbox
    assert "Sweeper 12: Due since 10000 km." in mail.body and "Sweeper 13" not in mail.body
    assert mail.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    Organisation.objects.update(digest_sent_on=timezone.localdate() - timedelta(days=7))
    assert digests_mail() == 1


def test_laws_follow_what_is_heard_of_units(owner: User) -> None:
    design = made_design(owner)
    contributor = contributor_of(owner)
    for n in range(14):
        unit = Unit.objects.create(contributor=contributor, design=design, key=f"u{n}")
        failed = n % 2 == 0
        UnitEvent.objects.create(
            unit=unit,
            contributor=contributor,
            kind="failed" if failed else "good",
            distance_km=60_000 + 9_000 * n,
            good_km=60_000 + 9_000 * n if failed else None,
        )
    assert laws_refresh() == 1
    law = LifeLaw.objects.get()
    assert (law.units, law.failures, law.cohort) == (14, 7, "all")
    assert law.shape is not None and law.scale_km is not None and 80_000 < law.scale_km < 300_000
    assert laws_refresh() == 0, "nothing new was heard"


def test_a_members_own_data_hold_the_fleet(owner: User, fleet: Organisation) -> None:
    add(owner, fleet, "Sweeper 12", km=70_000)
    (told,) = account_data(by=owner)["fleets"]
    assert told["name"] == "Marsh Quay" and "Sweeper 12" in told["due"]


def test_an_erased_account_leaves_no_fleet_without_an_owner(owner: User, fleet: Organisation) -> None:
    worker = joined(fleet, owner, "worker", "worker")
    add(owner, fleet, "Sweeper 12")
    account_erase(by=owner)
    assert Membership.objects.get(organisation=fleet).role == "owner"
    assert Vehicle.objects.count() == 1
    account_erase(by=worker)
    assert not Organisation.objects.exists() and not Vehicle.objects.exists()
