"""Charts that a device keeps: what it needs of one, the page that lists them, and the manifest of the app."""

from __future__ import annotations

import hashlib
import json
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import path, reverse
from django.utils.translation import gettext as _

from registry.pages.kept_words import kept_words
from registry.services.offline_tables import offline_chart


def kept(request: HttpRequest) -> HttpResponse:
    return render(request, "technician/kept.html", {"page": "check", "words": kept_words()})


def offline_json(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The tables of one chart, for the device."""
    document = offline_chart(uuid)
    if document is None:
        raise Http404
    content = json.dumps(document, ensure_ascii=False, separators=(",", ":")).encode()
    etag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    if request.headers.get("If-None-Match", "").removeprefix("W/") == etag:
        response = HttpResponse(status=304)
    else:
        response = HttpResponse(content, "application/json")
    response["ETag"], response["Cache-Control"] = etag, "no-cache"
    response["Vary"] = "Accept-Language, Cookie"
    return response


def manifest(request: HttpRequest) -> HttpResponse:
    """What a browser needs to install the pages as an app."""
    icon = {"src": static("benchquorum/icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    plain = {
        "name": _("Benchquorum"),
        "short_name": "Benchquorum",
        "description": _("Agreed contact patterns of lever switches, measured by workshops."),
        "start_url": reverse("front"),
        "scope": reverse("front"),
        "display": "standalone",
        "background_color": "#faf8f3",
        "theme_color": "#faf8f3",
        "icons": [icon],
        "shortcuts": [{"name": _("Kept on this device"), "url": reverse("kept")}],
    }
    return JsonResponse(plain, content_type="application/manifest+json")


urlpatterns = [
    path("kept/", kept, name="kept"),
    path("designs/<uuid:uuid>/offline.json", offline_json, name="offline_json"),
    path("manifest.webmanifest", manifest, name="manifest"),
]
