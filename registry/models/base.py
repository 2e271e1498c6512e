"""What every public object carries: an id that means the same in every registry, and where it was made."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


def own_origin() -> str:
    """The name of this registry, kept with an object when another registry takes it over."""
    return str(settings.BENCHQUORUM_ORIGIN)


class PublicObject(models.Model):
    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    origin = models.CharField(max_length=100, default=own_origin, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        abstract = True


def one_of(field: str, choices: type[models.TextChoices], name: str) -> models.CheckConstraint:
    """Choices held by the database too, not only by forms."""
    return models.CheckConstraint(condition=models.Q(**{f"{field}__in": choices.values}), name=name)
