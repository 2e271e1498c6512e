"""A workshop's fleet, for its members; for everybody else it is not there."""

from __future__ import annotations

import hashlib
import json
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import facts as shapes
from api.description.operations import IDEMPOTENCY_KEY, IF_MATCH, described
from api.idempotency import once
from api.permissions import SIGNED_IN, SUBMIT
from api.versions import match_required
from api.views.base import ApiView, person
from registry.errors import RegistryErrors
from registry.models import Organisation, Vehicle
from registry.permissions import role_in
from registry.selectors.fleet import (
    DueLine,
    due_line,
    due_list,
    organisation_for,
    organisations_of,
    vehicle_for,
)
from registry.services.fields import Fields
from registry.services.fleet.fittings import unit_fit, unit_remove
from registry.services.fleet.organisations import organisation_make, organisation_set
from registry.services.fleet.vehicles import distance_add, vehicle_add
from registry.translation import gettext as _


class Fleets(ApiView):
    rules = {"GET": SIGNED_IN, "POST": SUBMIT}

    @described("fleets_list", answer=shapes.FLEETS, example={"results": [shapes.FLEET_LINE]}, refuses=[403])
    def get(self, request: Request) -> Response:
        """The fleets that you are a member of."""
        found = organisations_of(person(request))
        return Response({"results": [_fleet(one.organisation, one.role) for one in found]})

    @described(
        "fleets_make",
        answer=shapes.FLEET,
        example=shapes.FLEET_LINE,
        status=201,
        body=shapes.FLEET_BODY,
        body_example={"name": "Marsh Quay vehicles"},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Begin a fleet; you are its owner."""

        def act() -> Response:
            made = organisation_make(by=person(request), body=request.data)
            return Response(_fleet(made, "owner"), status=201)

        return once(request, act)


class OneFleet(ApiView):
    rules = {"GET": SIGNED_IN, "PATCH": SUBMIT}

    @described("fleets_retrieve", answer=shapes.FLEET, example=shapes.FLEET_LINE, refuses=[403])
    def get(self, request: Request, fleet: UUID) -> Response:
        """A fleet with its policy."""
        return _shown(request, _organisation(request, fleet))

    @described(
        "fleets_set",
        answer=shapes.FLEET,
        example=shapes.FLEET_LINE,
        body=shapes.POLICY_BODY,
        body_example={"policy_km": 120000},
        parameters=[IF_MATCH],
        refuses=[412],
    )
    def patch(self, request: Request, fleet: UUID) -> Response:
        """The workshop's own policy: a distance, costs, how far to look ahead; owners only.

        With If-Match it is changed only where it is still as you saw it.
        """
        found = organisation_set(
            by=person(request),
            organisation=_organisation(request, fleet),
            body=request.data,
            still=lambda row: match_required(request, lambda: _etag(row)),
        )
        return _shown(request, found)


class Vehicles(ApiView):
    rules = {"GET": SIGNED_IN, "POST": SUBMIT}

    @described(
        "vehicles_due", answer=shapes.VEHICLES, example={"results": [shapes.VEHICLE_LINE]}, refuses=[403]
    )
    def get(self, request: Request, fleet: UUID) -> Response:
        """The due list: every vehicle in use, the one that costs most to wait for first."""
        lines = due_list(_organisation(request, fleet))
        return Response({"results": [_vehicle(line.vehicle, line) for line in lines]})

    @described(
        "vehicles_add",
        answer=shapes.VEHICLE,
        example=shapes.VEHICLE_LINE,
        status=201,
        body=shapes.VEHICLE_BODY,
        body_example={"label": "Sweeper 12", "km": 90500, "fitted_km": 30000},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, fleet: UUID) -> Response | HttpResponse:
        """Add a vehicle; the same label again changes that one."""
        organisation = _organisation(request, fleet)

        def act() -> Response:
            made = vehicle_add(by=person(request), organisation=organisation, body=request.data)
            return Response(_vehicle(made, due_line(made)), status=201)

        return once(request, act)


class OneVehicle(ApiView):
    rules = {"GET": SIGNED_IN}

    @described("vehicles_retrieve", answer=shapes.VEHICLE, example=shapes.VEHICLE_LINE, refuses=[403])
    def get(self, request: Request, vehicle: UUID) -> Response:
        """A vehicle of a fleet of yours."""
        found = _own(request, vehicle)
        return Response(_vehicle(found, due_line(found)))


class Distances(ApiView):
    rules = {"POST": SUBMIT}

    @described(
        "vehicles_distance",
        answer=shapes.VEHICLE,
        example=shapes.VEHICLE_LINE,
        status=201,
        body=shapes.DISTANCE_BODY,
        body_example={"km": 90500, "read_on": "2026-11-20"},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, vehicle: UUID) -> Response | HttpResponse:
        """What the counter shows on a day."""
        found = _own(request, vehicle)

        def act() -> Response:
            distance_add(by=person(request), vehicle=found, body=request.data)
            return Response(_vehicle(found, due_line(found)), status=201)

        return once(request, act)


class Units(ApiView):
    rules = {"POST": SUBMIT}

    @described(
        "vehicles_unit",
        answer=shapes.VEHICLE,
        example=shapes.VEHICLE_LINE,
        status=201,
        body=shapes.UNIT_BODY,
        body_example={"act": "remove", "removed_km": 90500, "because": "failed"},
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, vehicle: UUID) -> Response | HttpResponse:
        """A unit went into the vehicle, or came out of it."""
        found = _own(request, vehicle)

        def act() -> Response:
            fields = Fields(request.data)
            chosen = fields.one_of("act", ["fit", "remove"], "")
            if not chosen and not fields.errors:
                fields.wrong("act", "value_missing", _("This is empty."), _("Say “fit” or “remove”."))
            if fields.errors:
                raise RegistryErrors(fields.errors)
            deed = unit_fit if chosen == "fit" else unit_remove
            deed(by=person(request), vehicle=found, body=request.data)
            found.refresh_from_db()
            return Response(_vehicle(found, due_line(found)), status=201)

        return once(request, act)


def _organisation(request: Request, fleet: UUID) -> Organisation:
    found = organisation_for(person(request), fleet)
    if found is None:
        raise Http404
    return found


def _own(request: Request, vehicle: UUID) -> Vehicle:
    found = vehicle_for(person(request), vehicle)
    if found is None:
        raise Http404
    return found


def _fleet(organisation: Organisation, role: str) -> dict[str, Any]:
    names = ("name", "policy_km", "next_km", "planned_cost", "breakdown_cost", "shares_units")
    return {
        "fleet": str(organisation.uuid),
        "role": role,
        **{name: getattr(organisation, name) for name in names},
    }


def _etag(organisation: Organisation) -> str:
    """Names the fleet and its policy as they are, whoever asks."""
    now = json.dumps(_fleet(organisation, ""), sort_keys=True)
    return f'"{hashlib.sha256(now.encode()).hexdigest()[:32]}"'


def _shown(request: Request, organisation: Organisation) -> Response:
    response = Response(_fleet(organisation, role_in(person(request), organisation)))
    response["ETag"] = _etag(organisation)
    return response


def _vehicle(vehicle: Vehicle, line: DueLine | None) -> dict[str, Any]:
    day = None if line is None or line.read_on is None else line.read_on.isoformat()
    due = None if line is None or line.due_on is None else line.due_on.isoformat()
    return {
        "vehicle": str(vehicle.uuid),
        "label": vehicle.label,
        "design": None if vehicle.design is None else str(vehicle.design.uuid),
        "retired": vehicle.retired_at is not None,
        "vehicle_km": line and line.vehicle_km,
        "read_on": day,
        "unit_km": line and line.unit_km,
        "chance": line and line.chance,
        "waiting_cost": line and line.waiting,
        "due_km": line and line.due_km,
        "due_on": due,
    }
