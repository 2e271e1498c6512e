"""Members of a fleet: what is there for whom, what is shared, what is told, what goes with an account."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import (
    Membership,
    Organisation,
    UnitEvent,
    User,
    Vehicle,
)
from registry.selectors.fleet import organisation_for, vehicle_for
from registry.services.accounts import account_erase
from registry.services.fleet.digests import digests_mail
from registry.services.fleet.fittings import unit_remove
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
from registry.services.fleet.vehicles import distance_add
from registry.services.own_evidence import account_data
from tests.registry.pages.made import account, made_design
from tests.registry.services.fleet.made import add, joined

pytestmark = pytest.mark.django_db


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
    assert "Sweeper 12: Due since 10\u202f000 km." in mail.body and "Sweeper 13" not in mail.body
    assert mail.extra_headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    Organisation.objects.update(digest_sent_on=timezone.localdate() - timedelta(days=7))
    assert digests_mail() == 1


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
