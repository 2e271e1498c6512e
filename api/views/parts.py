"""A design with all that is published of it, in one answer: what mirrors and other registries take over."""

from __future__ import annotations

import hashlib
from uuid import UUID

from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiResponse
from rest_framework.request import Request

from api.description import parts as shapes
from api.description.operations import IF_NONE_MATCH, described
from api.permissions import OPEN
from api.views.base import ApiView
from registry.selectors.package_part import design_part


class DesignPart(ApiView):
    rules = {"GET": OPEN}

    @described(
        "designs_part",
        answer=shapes.PART_SCHEMA,
        example=shapes.EXAMPLE,
        also={304: OpenApiResponse(None, "You have it already.")},
        parameters=[IF_NONE_MATCH],
    )
    def get(self, request: Request, design: UUID) -> HttpResponse:
        """The design, its charts to the byte, and the readings behind them under pseudonyms.

        The ETag is the SHA-256 of the answer.
        """
        content = design_part(design)
        if content is None:
            raise Http404
        etag = f'"{hashlib.sha256(content).hexdigest()}"'
        named = {
            name.strip().removeprefix("W/") for name in request.headers.get("If-None-Match", "").split(",")
        }
        known = etag in named or "*" in named
        response = HttpResponse(status=304) if known else HttpResponse(content, "application/json")
        response["ETag"], response["Cache-Control"] = etag, "no-cache"
        return response
