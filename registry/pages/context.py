"""What every page says of the registry itself."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpRequest

from registry.pages.bench_words import queue_words
from registry.pages.preferences import distance_unit
from registry.permissions import is_moderator
from registry.selectors.mirrors import mirror_source


def registry_facts(request: HttpRequest) -> dict[str, object]:
    user = getattr(request, "user", None)
    return {
        "data_licence": settings.BENCHQUORUM_DATA_LICENCE,
        "removal_address": settings.BENCHQUORUM_REMOVAL_ADDRESS,
        "languages": settings.LANGUAGES,
        "distance_unit": distance_unit(request),
        "mirror": mirror_source(),  # a copy says so on every page
        "viewer_is_moderator": is_moderator(user),
        # Sheets kept on the device go out from any page, once somebody is signed in.
        "queue_words": queue_words() if user is not None and user.is_authenticated else None,
    }
