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

from registry.models import Job, User
from registry.permissions import Actor, LinkHolder
from registry.selectors.jobs import job_for

P = ParamSpec("P")
LINKS = "job_links"


def link_opened(request: HttpRequest, job: Job) -> None:
    """This browser works on the job from now on, as long as the link isn't withdrawn."""
    links = dict(request.session.get(LINKS, {}))
    links[str(job.uuid)] = job.link_digest
    request.session[LINKS] = links


def actor_for(request: HttpRequest, uuid: UUID | str) -> Actor:
    """Who asks, as far as this job is concerned."""
    user = request.user if isinstance(request.user, User) else None
    digest = request.session.get(LINKS, {}).get(str(uuid))
    return user if digest is None else LinkHolder(digest, user)


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
