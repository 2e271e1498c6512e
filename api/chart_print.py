"""What a print of a chart says beside the pattern: where it is found, which pin sits where, what to mind."""

from __future__ import annotations

import hashlib
from typing import Any
from uuid import UUID

from django.http import HttpRequest
from django.urls import reverse

from registry.formats.cautions import caution_lines
from registry.selectors.bench_page import design_for_bench
from registry.selectors.printed_face import printed_face


def beside_the_chart(request: HttpRequest, document: dict[str, Any]) -> dict[str, Any]:
    """document: the chart in its envelope."""
    uuid = UUID(document["design"])
    design = design_for_bench(uuid)
    return {
        "published": document["published"],
        "address": request.build_absolute_uri(reverse("revision", args=[uuid, document["revision"]])),
        "face": None if design is None else printed_face(design),
        "cautions": caution_lines("check"),
    }


def tag_of(beside: dict[str, Any]) -> str:
    """For the ETag: a connector may be drawn anew, and a name of the registry change, under one revision."""
    return hashlib.sha256(repr(sorted(beside.items())).encode()).hexdigest()[:16]
