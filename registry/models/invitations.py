"""Invitations to moderate: a link by mail, for one person, once, until a day."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from registry.models.base import PublicObject
from registry.models.people import User

# `made_by` is gone with its account; whoever ran the older version stored no word that it needs a second.
FROM_THE_DESK = models.Q(needs_second=True) | models.Q(made_by__isnull=False)


class Invitation(PublicObject):
    """The link itself is kept nowhere, only its digest; the address goes as soon as it is of no more use.

    One from the desk works once another moderator has agreed, or, where there is none, from `opens_at` on.
    """

    email = models.EmailField(blank=True, default="")
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="invitations_made")
    needs_second = models.BooleanField(default=False, db_default=False)
    agreed_at = models.DateTimeField(null=True, blank=True)
    opens_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    used_by = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="invitations_used"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-pk"]

    def __str__(self) -> str:
        return f"invitation {self.pk}"  # never the address: it would end up in logs
