"""Which jobs a browser works on because it opened their private links: digests in its session."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest

from registry.models import Job, User
from registry.permissions import Actor, LinkHolder

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
