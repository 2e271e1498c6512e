"""Units, bench sheets with their versions, readings as typed, pictures."""

from __future__ import annotations

import uuid

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design, PartNumber, Place
from registry.models.people import Contributor, Meter, User


class Unit(PublicObject):
    """A physical switch as its contributor knows it; two people's words make two of them one."""

    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="units")
    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="units")
    key = models.CharField(max_length=200)
    tag_code = models.CharField(max_length=80, blank=True, default="")
    date_code = models.CharField(max_length=40, blank=True, default="")
    part_number = models.ForeignKey(PartNumber, null=True, blank=True, on_delete=models.SET_NULL)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["contributor", "design", "key"], name="unit_key_once_a_contributor"
            )
        ]

    def __str__(self) -> str:
        return self.key


class UnitMatch(models.Model):
    """One person's word that two units are the same switch; it holds once both owners have given theirs."""

    unit = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="matches")
    same_as = models.ForeignKey(Unit, on_delete=models.CASCADE, related_name="matched_by")
    said_by = models.ForeignKey(Contributor, on_delete=models.CASCADE)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["unit", "same_as", "said_by"], name="unit_match_once"),
            models.CheckConstraint(
                condition=~models.Q(unit=models.F("same_as")), name="unit_match_two_units"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unit_id} = {self.same_as_id}"


class Sheet(PublicObject):
    """One unit, read by one person in one go.  What can be amended lives in `SheetVersion`."""

    design = models.ForeignKey(Design, on_delete=models.PROTECT, related_name="sheets")
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="sheets")
    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="sheets")
    name = models.CharField(max_length=200)
    client_id = models.UUIDField(default=uuid.uuid4)  # made on the phone: a replay gets the first answer
    body_digest = models.CharField(max_length=64)  # of what was first sent: same id, other body is an error
    rereads = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="reread_by"
    )
    licence = models.CharField(max_length=80)
    measured_it_myself = models.BooleanField(default=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_reason = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["contributor", "name"], name="sheet_name_once_a_contributor"),
            models.UniqueConstraint(fields=["contributor", "client_id"], name="sheet_client_id_once"),
        ]

    def __str__(self) -> str:
        return self.name


class SheetVersionPurpose(models.TextChoices):
    KNOWN_GOOD = "known_good"
    SUSPECT = "suspect"


class HeldGood(models.TextChoices):
    NEW = "new"
    WORKED = "worked"
    PASSED_CHECK = "passed_check"
    NO = "no"


class ReadAt(models.TextChoices):
    BENCH = "bench"
    CONNECTOR = "connector"
    HARNESS = "harness"


class SheetVersion(models.Model):
    """A sheet as it stood after an entry or an amendment; never changed, never deleted."""

    Purpose = SheetVersionPurpose
    HeldGood = HeldGood
    ReadAt = ReadAt

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    is_current = models.BooleanField(default=True)
    made_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL)
    created_at = models.DateTimeField(auto_now_add=True)
    reason = models.CharField(max_length=300, blank=True, default="")
    pattern_shown = models.BooleanField(default=False)  # entered after the pattern had been seen
    purpose = models.CharField(max_length=10, choices=Purpose, default=Purpose.KNOWN_GOOD)
    held_good = models.CharField(max_length=12, choices=HeldGood, default=HeldGood.WORKED)
    source_class = models.CharField(
        max_length=10, choices=PartNumber.SourceClass, default=PartNumber.SourceClass.UNKNOWN
    )
    read_at = models.CharField(max_length=10, choices=ReadAt, default=ReadAt.BENCH)
    read_on = models.DateField(null=True, blank=True)
    distance_km = models.FloatField(null=True, blank=True)  # on the unit, not on the vehicle
    meter = models.ForeignKey(Meter, null=True, blank=True, on_delete=models.SET_NULL)
    units_claimed = models.PositiveSmallIntegerField(default=1)  # > 1: a summary sheet
    note = models.TextField(blank=True, default="")
    digest = models.CharField(max_length=64)  # of all that may shape a chart

    class Meta:
        indexes = [  # amendments of the last day, without looking at each sheet of an account
            models.Index(fields=["created_at"], condition=models.Q(number__gt=1), name="version_amended_at"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "number"], name="version_number_once_a_sheet"),
            models.UniqueConstraint(
                fields=["sheet"], condition=models.Q(is_current=True), name="version_one_current"
            ),
            one_of("purpose", SheetVersionPurpose, "version_purpose_known"),
            one_of("held_good", HeldGood, "version_held_good_known"),
            one_of("read_at", ReadAt, "version_read_at_known"),
            one_of("source_class", PartNumber.SourceClass, "version_source_class_known"),
            models.CheckConstraint(
                condition=models.Q(purpose="known_good") & ~models.Q(held_good="no")
                | models.Q(purpose="suspect") & models.Q(held_good="no"),
                name="version_suspects_are_not_held_good",
            ),
            models.CheckConstraint(condition=models.Q(units_claimed__gte=1), name="version_units_claimed"),
            models.CheckConstraint(
                condition=models.Q(distance_km__isnull=True) | models.Q(distance_km__gte=0),
                name="version_distance_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number} of sheet {self.sheet_id}"


class ReadingKind(models.TextChoices):
    VALUE = "value"
    RANGE = "range"
    CONTINUITY = "continuity"
    OVER_LIMIT = "over_limit"
    NOT_TAKEN = "not_taken"


class Reading(models.Model):
    """What the meter showed at a place, as typed and as read."""

    Kind = ReadingKind

    version = models.ForeignKey(SheetVersion, on_delete=models.PROTECT, related_name="readings")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="readings")
    sweep = models.PositiveSmallIntegerField(default=1)
    turned = models.BooleanField(default=False)  # typed as (pin_b, against pin_a)
    as_typed = models.CharField(max_length=60, blank=True, default="")
    kind = models.CharField(max_length=10, choices=Kind)
    low_ohm = models.FloatField(null=True, blank=True)
    high_ohm = models.FloatField(null=True, blank=True)
    limit_ohm = models.FloatField(default=2e7)
    lead_ohm = models.FloatField(default=0.0)
    first_pass = models.BooleanField(default=True)  # False: changed after the pattern was seen

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "place", "sweep"], name="reading_once_a_place"),
            one_of("kind", ReadingKind, "reading_kind_known"),
            models.CheckConstraint(
                condition=models.Q(kind__in=["value", "range"], low_ohm__isnull=False, high_ohm__isnull=False)
                | models.Q(
                    kind__in=["continuity", "over_limit", "not_taken"],
                    low_ohm__isnull=True,
                    high_ohm__isnull=True,
                ),
                name="reading_figures_fit_kind",
            ),
            models.CheckConstraint(
                condition=models.Q(low_ohm__isnull=True)
                | models.Q(low_ohm__gte=0, high_ohm__gte=models.F("low_ohm")),
                name="reading_figures_in_order",
            ),
            models.CheckConstraint(
                condition=models.Q(limit_ohm__gt=0, lead_ohm__gte=0), name="reading_meter_figures"
            ),
            models.CheckConstraint(condition=models.Q(sweep__gte=1), name="reading_sweep_from_one"),
        ]

    def __str__(self) -> str:
        return self.as_typed


class SheetPicture(PublicObject):
    """Up to four pictures a sheet; re-encoded on arrival, so no position data is left in them."""

    sheet = models.ForeignKey(Sheet, on_delete=models.CASCADE, related_name="pictures")
    image = models.ImageField(upload_to="sheets/")
    order = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sheet", "order"], name="picture_order_once_a_sheet"),
            models.CheckConstraint(
                condition=models.Q(order__gte=1, order__lte=4), name="picture_four_at_most"
            ),
        ]

    def __str__(self) -> str:
        return f"picture {self.order} of sheet {self.sheet_id}"
