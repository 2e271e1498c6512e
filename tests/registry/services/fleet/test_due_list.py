"""Distances on units, and which vehicle's switch is next."""

from __future__ import annotations

import math
import random
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import (
    DistanceReading,
    Fitting,
    LifeLaw,
    Organisation,
    Unit,
    UnitEvent,
    User,
    Vehicle,
)
from registry.selectors.fleet import due_list
from registry.services.accounts import contributor_of
from registry.services.fleet.fittings import unit_fit, unit_remove
from registry.services.fleet.organisations import (
    organisation_set,
)
from registry.services.fleet.vehicles import distance_add
from registry.services.lives.laws import laws_refresh
from tests.registry.pages.made import made_design
from tests.registry.services.fleet.made import add, day

pytestmark = pytest.mark.django_db


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
    assert client.get(reverse("fleets")).status_code == 200  # a session notes its first page
    with django_assert_max_num_queries(9):
        assert client.get(reverse("fleet", args=[large.uuid])).status_code == 200


def test_a_distance_added_orders_the_list_anew(owner: User, large: Organisation) -> None:
    last = [line for line in due_list(large) if line.waiting is not None][-1]
    distance_add(by=owner, vehicle=last.vehicle, body={"km": 4e6, "read_on": day(0)})
    assert due_list(large)[0].vehicle == last.vehicle


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
