"""A person's own pieces of work."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.models import User, Work


def work_of(user: User) -> QuerySet[Work]:
    return Work.objects.filter(user=user).defer("asked")
