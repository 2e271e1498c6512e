"""What every page says of the registry itself."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest

from registry.permissions import is_moderator


def registry_facts(request: HttpRequest) -> dict[str, object]:
    return {
        "data_licence": settings.BENCHQUORUM_DATA_LICENCE,
        "removal_address": settings.BENCHQUORUM_REMOVAL_ADDRESS,
        "viewer_is_moderator": is_moderator(getattr(request, "user", None)),
    }
