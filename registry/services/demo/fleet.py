"""The demo's workshop fleet: made through the services, as its owner would."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone

from registry.models import Membership, Organisation, User
from registry.services.fleet.organisations import organisation_make, organisation_set
from registry.services.fleet.vehicles import distance_add, vehicle_add

Plain = dict[str, Any]


def demo_fleet(told: Plain, accounts: dict[str, User]) -> None:
    """told: of fleet.json; accounts: by role.  A second time adds nothing."""
    if Organisation.objects.filter(name=told["name"]).exists():
        return
    owner = accounts[next(role for role, part in told["members"].items() if part == "owner")]
    fleet = organisation_make(by=owner, body={"name": told["name"]})
    policy = {name: told[name] for name in ("policy_km", "planned_cost", "breakdown_cost")}
    organisation_set(by=owner, organisation=fleet, body=policy)
    for role, part in told["members"].items():
        Membership.objects.get_or_create(organisation=fleet, user=accounts[role], defaults={"role": part})
    today = timezone.localdate()
    for entry in told["vehicles"]:
        body = {"label": entry["label"], "design": entry["design"]}
        vehicle = vehicle_add(by=owner, organisation=fleet, body=body)
        if entry["fitted_km"] is not None:
            vehicle.fittings.create(design=vehicle.design, fitted_km=entry["fitted_km"])
        for days, km in entry["distances"]:
            day = (today - timedelta(days=days)).isoformat()
            distance_add(by=owner, vehicle=vehicle, body={"km": km, "read_on": day})
