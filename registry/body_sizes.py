"""No request brings more than its address can need, for all of it is stored before a view is asked who may.

The framework bounds a form's words, and leaves the files in it to the disk.  Here the length that a sender
names is looked at before the first byte is read; one who names none is asked to.
"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from registry.job_links import actor_for
from registry.middleware import BeforeView
from registry.models import Job
from registry.permissions import works_on_job
from registry.services.pictures import MOST_BYTES, MOST_PICTURES

FILE_BYTES = 10_000_000  # of a table of readings or vehicles; what is read of it is less
PICTURES_BYTES = MOST_PICTURES * MOST_BYTES
# Beside the words of the form, by the address's name, for whoever is signed in.
OF_ACCOUNT = {
    "bench": PICTURES_BYTES,
    "sheet_picture": PICTURES_BYTES,
    "matrix": FILE_BYTES,
    "import_file": FILE_BYTES,
    "fleet_table": FILE_BYTES,
}
BULK_BYTES = 30_000_000  # 5 000 sheets of some 3 kB, and as much again for longer ones
PICTURE_AS_JSON = MOST_BYTES * 4 // 3 + 1000  # base64, in an object with one field


def largest_body(request: HttpRequest) -> int:
    """Bytes that a request to this address may bring along."""
    words: int = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    match = request.resolver_match
    name = "" if match is None else match.view_name
    if name == "api_pictures":
        return max(words, PICTURE_AS_JSON)
    if name == "api_bulk" and "HTTP_AUTHORIZATION" in request.META:  # read when it is known to be good
        return max(words, BULK_BYTES)
    if name in OF_ACCOUNT:
        return words + (OF_ACCOUNT[name] if request.user.is_authenticated else 0)
    if name == "job_step" and match is not None and _works_on(request, match.kwargs["uuid"]):
        return words + PICTURES_BYTES
    return words


def _works_on(request: HttpRequest, job: UUID) -> bool:
    """By account, or by the link that this browser opened."""
    found = Job.objects.filter(uuid=job).select_related("contributor").first()
    return found is not None and works_on_job(actor_for(request, job), found)


class BodySizes(BeforeView):
    """Before whatever reads a body; the check of forms is the first that does."""

    def refusal(self, request: HttpRequest, kwargs: dict[str, Any]) -> HttpResponse | None:
        length = request.META.get("CONTENT_LENGTH") or ""
        if not length.isdecimal():
            return _refused(request, 411) if length or "HTTP_TRANSFER_ENCODING" in request.META else None
        if int(length) <= settings.DATA_UPLOAD_MAX_MEMORY_SIZE:  # every address takes as much
            return None
        return _refused(request, 413) if int(length) > largest_body(request) else None


def _refused(request: HttpRequest, status: int) -> HttpResponse:
    """A page; under /api/ whoever makes problems of errors finds the words."""
    if request.path_info.startswith("/api/"):
        return HttpResponse(status=status)
    largest = largest_body(request)
    context = {
        "megabytes": largest // 1_000_000,
        "picture": MOST_BYTES // 1_000_000,
        "with_pictures": largest >= PICTURES_BYTES,
        "unnamed": status == 411,
    }
    return render(request, "413.html", context, status=status)
