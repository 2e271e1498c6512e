"""Whose job it is: the account's, or the browser's that opened its private link.  Anybody else finds nothing.

Opening a link leaves its digest in the session and shows the job at its own address, so that the link
itself stands in no history, referrer or log line of the pages that follow.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from uuid import UUID

from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils.cache import patch_cache_control

from registry.job_links import actor_for
from registry.models import Job
from registry.permissions import Actor
from registry.selectors.jobs import job_for

P = ParamSpec("P")


def job_found(request: HttpRequest, uuid: UUID) -> tuple[Actor, Job]:
    actor = actor_for(request, uuid)
    job = job_for(actor, uuid)
    if job is None:
        raise Http404
    return actor, job


def job_asked(request: HttpRequest) -> tuple[Actor, Job] | None:
    """The job that a sheet's page is opened for (`job` in its address or form); None where there is none."""
    named = request.POST.get("job") or request.GET.get("job") or ""
    try:
        uuid = UUID(named)
    except ValueError:
        return None
    return job_found(request, uuid)


def job_page(
    view: Callable[Concatenate[HttpRequest, Actor, Job, P], HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """A view of one job: found or not found; kept by no cache and no search engine."""

    @wraps(view)
    def found(request: HttpRequest, uuid: UUID, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        actor, job = job_found(request, uuid)
        return private(view(request, actor, job, *args, **kwargs))

    return found


def private(response: Any) -> Any:
    patch_cache_control(response, private=True, no_store=True)
    response["X-Robots-Tag"] = "noindex"
    return response
