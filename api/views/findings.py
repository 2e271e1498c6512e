"""Findings: why each sheet fits its design's pattern, or doesn't."""

from __future__ import annotations

from rest_framework.request import Request
from rest_framework.response import Response

from api.description import sheet_examples
from api.description.operations import described
from api.filters import FindingFilter
from api.pagination import BySheet
from api.permissions import OPEN
from api.serializers.sheets import FindingLine
from api.views.base import ListView
from registry.selectors.api_sheets import findings_for_api


class Findings(ListView):
    rules = {"GET": OPEN}
    pagination_class = BySheet
    filterset_class = FindingFilter
    serializer_class = FindingLine

    @described("findings_list", answer=FindingLine, example=sheet_examples.FINDING_EXAMPLE, page=True)
    def get(self, request: Request) -> Response:
        """What the newest computation says of each sheet."""
        return self.page(request, findings_for_api())
