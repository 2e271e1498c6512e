"""Units over time: how long they last, and what became of one."""

from __future__ import annotations

import math
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import life as shapes
from api.description.operations import IDEMPOTENCY_KEY, described
from api.idempotency import once
from api.permissions import OPEN, SUBMIT
from api.problems import Failure
from api.views.base import ApiView, person
from registry.models import Design, Sheet, UnitEvent
from registry.services.lives.answer import life_answer
from registry.services.lives.unit_events import FARTHEST_KM, unit_event_tell
from registry.translation import gettext as _

DEAREST = 1e9
LIMITS = {"at_km": (0.0, FARTHEST_KM), "next_km": (1.0, FARTHEST_KM)}
COSTS = {"planned": (0.01, DEAREST), "breakdown": (0.01, DEAREST)}


def _query(name: str, limits: tuple[float, float], said: str) -> OpenApiParameter:
    schema = {"type": "number", "minimum": limits[0], "maximum": limits[1]}
    return OpenApiParameter(name, schema, description=said)


class Life(ApiView):
    """What takes long is worked out once for the same evidence; it costs more than a read all the same."""

    rules = {"GET": OPEN}
    cost = 5
    query_names = (*LIMITS, *COSTS)

    @described(
        "designs_life",
        answer=shapes.LIFE_ANSWER,
        example=shapes.EXAMPLE,
        parameters=[
            _query("at_km", LIMITS["at_km"], "Distance on a unit at hand that is good"),
            _query("next_km", LIMITS["next_km"], "The next distance: 20 000 km unless given"),
            _query("planned", COSTS["planned"], "Cost of a planned replacement; nothing without `breakdown`"),
            _query("breakdown", COSTS["breakdown"], "Cost of a breakdown, in the same currency"),
        ],
    )
    def get(self, request: Request, design: UUID) -> Response:
        """How long units last by who reports and source class, drift, class shares, outcomes of symptoms."""
        found = get_object_or_404(Design, uuid=design)
        at, following = (_figure(request, name, LIMITS[name]) for name in LIMITS)
        planned, breakdown = (_figure(request, name, COSTS[name]) for name in COSTS)
        costs = None if planned is None or breakdown is None else (planned, breakdown)
        return Response(life_answer(found, at_km=at, next_km=following, costs=costs))


class UnitEvents(ApiView):
    rules = {"POST": SUBMIT}

    @described(
        "submissions_unit_event",
        answer=shapes.EVENT,
        example=shapes.EVENT_ANSWER,
        status=201,
        body=shapes.EVENT_BODY,
        body_example=shapes.EVENT_EXAMPLE,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request, submission: UUID) -> Response | HttpResponse:
        """What became of the unit of one's own sheet: still good, failed, taken out good."""
        sheet = get_object_or_404(Sheet.objects.select_related("unit__contributor"), uuid=submission)

        def act() -> Response:
            event = unit_event_tell(by=person(request), unit=sheet.unit, body=request.data)
            return Response(_told(event), status=201)

        return once(request, act)


def _told(event: UnitEvent) -> dict[str, Any]:
    return {
        "event": str(event.uuid),
        "kind": event.kind,
        "distance_km": event.distance_km,
        "entered_km": event.entered_km,
        "good_km": event.good_km,
        "happened_on": event.happened_on,
    }


def _figure(request: Request, name: str, limits: tuple[float, float]) -> float | None:
    text = request.query_params.get(name)
    if text is None:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not limits[0] <= value <= limits[1]:
        said = _("“{name}” is a number from {low:g} to {high:g}.").format(
            name=name, low=limits[0], high=limits[1]
        )
        raise Failure(400, "parameter_invalid", said, parameter=name)
    return value
