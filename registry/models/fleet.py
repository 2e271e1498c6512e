"""A workshop's own vehicles and what is fitted in them: private to its members, none of it a public object's.

An organisation is joined by invitation, unlike `Workshop`, which is only a word about who are colleagues.
"""

from __future__ import annotations

import uuid

from django.db import models

from registry.models.base import one_of
from registry.models.catalogue import Design
from registry.models.people import User
from registry.models.sheets import Unit


class Organisation(models.Model):
    """policy_km, planned_cost, breakdown_cost: the workshop's own, no default; costs in its own currency.

    shares_units: whether the histories of its units, under a pseudonym, may feed the registry's figures.
    feed_digest: of the calendar's private link, None where there is none.
    """

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120)
    policy_km = models.FloatField(null=True, blank=True)
    planned_cost = models.FloatField(null=True, blank=True)
    breakdown_cost = models.FloatField(null=True, blank=True)
    next_km = models.FloatField(default=10_000.0)  # the distance ahead for which chances are given
    shares_units = models.BooleanField(default=False)
    feed_digest = models.CharField(max_length=64, null=True, blank=True, unique=True)
    digest_sent_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(policy_km__isnull=True) | models.Q(policy_km__gt=0),
                name="organisation_policy_positive",
            ),
            models.CheckConstraint(
                condition=models.Q(planned_cost__isnull=True, breakdown_cost__isnull=True)
                | models.Q(planned_cost__gt=0, breakdown_cost__gt=0),
                name="organisation_both_costs",
            ),
            models.CheckConstraint(condition=models.Q(next_km__gt=0), name="organisation_next_positive"),
        ]

    def __str__(self) -> str:
        return f"organisation {self.pk}"  # never the name: it would end up in logs


class MemberRole(models.TextChoices):
    OWNER = "owner"  # members, policy, links
    WORKER = "worker"  # vehicles, distances, fittings
    READER = "reader"


class Membership(models.Model):
    Role = MemberRole

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="memberships")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=6, choices=MemberRole)
    wants_digest = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "user"], name="member_once"),
            one_of("role", MemberRole, "member_role_known"),
        ]

    def __str__(self) -> str:
        return f"member {self.pk}"


class MemberInvitation(models.Model):
    """A link that makes its bearer a member, once; kept as a digest."""

    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="invitations")
    role = models.CharField(max_length=6, choices=MemberRole)
    digest = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [one_of("role", MemberRole, "member_invitation_role_known")]

    def __str__(self) -> str:
        return f"invitation {self.pk}"


class Vehicle(models.Model):
    """label: a fleet number; no registration number is asked for."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    organisation = models.ForeignKey(Organisation, on_delete=models.CASCADE, related_name="vehicles")
    label = models.CharField(max_length=120)
    label_key = models.CharField(max_length=120)
    family_label = models.CharField(max_length=120, blank=True, default="")
    design = models.ForeignKey(Design, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    retired_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["label_key"]
        constraints = [
            models.UniqueConstraint(fields=["organisation", "label_key"], name="vehicle_label_once")
        ]

    def __str__(self) -> str:
        return f"vehicle {self.pk}"


class DistanceReading(models.Model):
    """What the vehicle's counter showed on a day, km; one that was wrong is replaced, not changed."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="distances")
    km = models.FloatField()
    read_on = models.DateField()
    entered_by = models.ForeignKey(User, null=True, on_delete=models.SET_NULL, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)
    is_current = models.BooleanField(default=True)

    class Meta:
        ordering = ["read_on", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle", "read_on"],
                condition=models.Q(is_current=True),
                name="distance_once_a_day",
            ),
            models.CheckConstraint(condition=models.Q(km__gte=0), name="distance_not_negative"),
        ]

    def __str__(self) -> str:
        return f"distance {self.pk}"


class Removal(models.TextChoices):
    FAILED = "failed"
    GOOD = "good"  # taken out though good: by policy, or for another reason
    UNKNOWN = "unknown"


class Fitting(models.Model):
    """A unit in a vehicle from one distance to another, both on the vehicle's counter.

    unit_km: distance on the unit when it was fitted, 0 where new.  unit: where the registry knows it;
    job: in which it was fitted.
    """

    Removal = Removal

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="fittings")
    design = models.ForeignKey(Design, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="fittings")
    job = models.ForeignKey(
        "registry.Job", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    fitted_km = models.FloatField()
    fitted_on = models.DateField(null=True, blank=True)
    unit_km = models.FloatField(default=0.0)
    removed_km = models.FloatField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    removed_because = models.CharField(max_length=8, choices=Removal, blank=True, default="")

    class Meta:
        ordering = ["fitted_km", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["vehicle"], condition=models.Q(removed_km__isnull=True), name="fitting_one_at_a_time"
            ),
            models.CheckConstraint(
                condition=models.Q(fitted_km__gte=0, unit_km__gte=0), name="fitting_distances_not_negative"
            ),
            models.CheckConstraint(
                condition=models.Q(removed_km__isnull=True, removed_because="")
                | models.Q(removed_km__gte=models.F("fitted_km"), removed_because__in=Removal.values),
                name="fitting_ends_after_it_began",
            ),
        ]

    def __str__(self) -> str:
        return f"fitting {self.pk}"


class LifeLaw(models.Model):
    """The service-life law of a design as it was last worked out, so that a due list asks for one row each.

    shape, scale_km: None where there is too little; cohort: "fleet" from workshops that report all of their
    units, "all" where volunteers are in it, who bring in failed units more often than good ones.
    """

    design = models.OneToOneField(Design, on_delete=models.CASCADE, related_name="life_law")
    shape = models.FloatField(null=True, blank=True)
    scale_km = models.FloatField(null=True, blank=True)
    cohort = models.CharField(max_length=6, default="all")
    units = models.PositiveIntegerField(default=0)
    failures = models.PositiveIntegerField(default=0)
    computed_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"life law of design {self.design_id}"
