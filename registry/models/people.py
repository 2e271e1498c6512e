"""Accounts, the pseudonyms that outlive them, workshops, meters and API tokens."""

from __future__ import annotations

import secrets
import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import BaseUserManager
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models.functions import Lower
from knox.models import AbstractAuthToken

from registry.models.base import PublicObject


class UserManager(BaseUserManager["User"]):
    """Accounts are known by e-mail address; there is no user name to choose or to leak."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class User(AbstractUser):  # type: ignore[django-manager-missing]
    username = None  # type: ignore[assignment]
    email = models.EmailField(unique=True)
    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    suspended_at = models.DateTimeField(null=True, blank=True)
    language = models.CharField(max_length=10, blank=True, default="")
    distance_unit = models.CharField(max_length=2, choices=[("km", "km"), ("mi", "mi")], default="km")
    speak_prompts = models.BooleanField(default=False)
    wants_mail = models.BooleanField(default=True)  # False once somebody used the link to stop it

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[UserManager] = UserManager()  # type: ignore[assignment]

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_any_case_once"),
            models.CheckConstraint(
                condition=models.Q(distance_unit__in=["km", "mi"]), name="user_distance_unit_known"
            ),
        ]

    def __str__(self) -> str:
        return f"account {self.pk}"  # never the address: it would end up in logs


class Workshop(PublicObject):
    """Colleagues of one workshop are not independent evidence."""

    name = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return self.name


def new_pseudonym() -> str:
    return "c-" + secrets.token_hex(5)


class Contributor(PublicObject):
    """Who read a sheet, under a name that says nothing and survives the erasure of the account."""

    pseudonym = models.CharField(max_length=40, unique=True, default=new_pseudonym)
    user = models.OneToOneField(
        User, null=True, blank=True, on_delete=models.SET_NULL, related_name="contributor"
    )
    workshop = models.ForeignKey(
        Workshop, null=True, blank=True, on_delete=models.SET_NULL, related_name="contributors"
    )
    import_name = models.CharField(max_length=200, null=True, blank=True, unique=True)

    def __str__(self) -> str:
        return self.pseudonym


class Meter(PublicObject):
    """A contributor's own meter: what it can show, and what it shows when the leads are apart."""

    contributor = models.ForeignKey(Contributor, on_delete=models.CASCADE, related_name="meters")
    name = models.CharField(max_length=80)
    limit_ohm = models.FloatField(default=2e7)
    resolution_ohm = models.FloatField(null=True, blank=True)
    buzzer_limit_ohm = models.FloatField(null=True, blank=True)
    apart_shows = models.CharField(max_length=20, default="OL")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["contributor", "name"], name="meter_name_once_a_contributor"),
            models.CheckConstraint(condition=models.Q(limit_ohm__gt=0), name="meter_limit_positive"),
        ]

    def __str__(self) -> str:
        return self.name


class LeadResistance(models.Model):
    """The meter's leads shorted together, Ω, on a day."""

    meter = models.ForeignKey(Meter, on_delete=models.CASCADE, related_name="lead_resistances")
    measured_on = models.DateField()
    ohm = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["meter", "measured_on"], name="lead_resistance_once_a_day"),
            models.CheckConstraint(condition=models.Q(ohm__gte=0), name="lead_resistance_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.ohm} Ω on {self.measured_on}"


class ApiToken(AbstractAuthToken):
    """An API token: kept as a digest, shown once, with the rights that its owner chose."""

    name = models.CharField(max_length=80, default="token")
    scopes = models.JSONField(default=list)  # of: read, submit, moderate
    last_used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name
