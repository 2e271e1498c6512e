"""Designs: find one, look at it, propose one."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import bodies, examples
from api.description.operations import IDEMPOTENCY_KEY, described
from api.filters import DesignFilter
from api.idempotency import once
from api.permissions import OPEN, PROPOSE
from api.serializers.designs import DesignFull, DesignLine
from api.views.base import ApiView, ListView, person
from registry.selectors.api_designs import design_for_api, designs_for_api
from registry.services.catalogue import design_propose


class Designs(ListView):
    rules = {"GET": OPEN, "POST": PROPOSE}
    filterset_class = DesignFilter
    serializer_class = DesignLine

    @described("designs_list", answer=DesignLine, example=examples.DESIGN_LINE, page=True)
    def get(self, request: Request) -> Response:
        """Designs that fit all of the filters."""
        return self.page(request, designs_for_api())

    @described(
        "designs_propose",
        answer=DesignFull,
        example=examples.DESIGN,
        status=201,
        body=bodies.DESIGN,
        body_example=examples.DESIGN_BODY,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Propose a design.  It is usable at once, marked as proposed."""

        def act() -> Response:
            made = design_propose(by=person(request), body=request.data)
            design = design_for_api().get(pk=made.pk)
            return Response(DesignFull(design).data, status=201)

        return once(request, act)


class OneDesign(ApiView):
    rules = {"GET": OPEN}

    @described("designs_retrieve", answer=DesignFull, example=examples.DESIGN)
    def get(self, request: Request, design: UUID) -> Response:
        """One design in full: connector, positions, part numbers, where it is fitted."""
        found = get_object_or_404(design_for_api(), uuid=design)
        return Response(DesignFull(found).data)
