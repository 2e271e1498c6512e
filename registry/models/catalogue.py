"""The catalogue: which switch is which, how its connector looks, which positions its lever has."""

from __future__ import annotations

import re

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.people import Contributor


def part_key(text: str) -> str:
    """One key for a number however it is punctuated: spaces, dots, dashes and case don't count."""
    return re.sub(r"[^0-9a-z]", "", text.casefold())


class Maker(PublicObject):
    name = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return self.name


class GearboxFamily(PublicObject):
    maker = models.ForeignKey(Maker, null=True, blank=True, on_delete=models.PROTECT, related_name="families")
    name = models.CharField(max_length=120)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["maker", "name"], name="family_once_a_maker")]

    def __str__(self) -> str:
        return self.name


class DesignState(models.TextChoices):
    PROPOSED = "proposed"
    CONFIRMED = "confirmed"


class DesignActuation(models.TextChoices):
    LEVER = "lever"
    PRESSURE = "pressure"
    SET = "set"  # several separate switches that the controller reads as one


class Design(PublicObject):
    """A switch design: one connector, ordered positions, one pattern (or several variants of it)."""

    State = DesignState
    Actuation = DesignActuation

    name = models.CharField(max_length=200)
    key = models.CharField(max_length=200, db_index=True, editable=False)
    maker = models.ForeignKey(Maker, null=True, blank=True, on_delete=models.PROTECT, related_name="designs")
    families = models.ManyToManyField(GearboxFamily, blank=True, related_name="designs")
    state = models.CharField(max_length=10, choices=State, default=State.PROPOSED)
    actuation = models.CharField(max_length=10, choices=Actuation, default=Actuation.LEVER)
    description = models.TextField(blank=True, default="")
    proposed_by = models.ForeignKey(Contributor, null=True, blank=True, on_delete=models.SET_NULL)
    start_known = models.BooleanField(default=False)  # whether `Position.releases_starter` was stated
    stale = models.BooleanField(default=False, db_index=True)  # evidence changed since the last computation
    # counts changes of the evidence: a refresh clears `stale` only if none came while it computed
    changes = models.PositiveIntegerField(default=0)
    edit_number = models.PositiveIntegerField(default=0)  # an edit names the version that it was made on
    replaces = models.ManyToManyField("self", symmetrical=False, blank=True, related_name="replaced_by")
    # set while a decision to merge is in force; its sheets count there, nothing of it is rewritten
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged_from"
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["origin", "name"], name="design_name_once_an_origin"),
            one_of("state", DesignState, "design_state_known"),
            one_of("actuation", DesignActuation, "design_actuation_known"),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: object, **kwargs: object) -> None:
        self.key = part_key(self.name)
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class Application(models.Model):
    """Where a design is fitted."""

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="applications")
    vehicle = models.CharField(max_length=160)
    family = models.ForeignKey(GearboxFamily, null=True, blank=True, on_delete=models.SET_NULL)
    year_from = models.PositiveSmallIntegerField(null=True, blank=True)
    year_to = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(year_from__isnull=True)
                | models.Q(year_to__isnull=True)
                | models.Q(year_from__lte=models.F("year_to")),
                name="application_years_in_order",
            )
        ]

    def __str__(self) -> str:
        return self.vehicle


class ConnectorViewing(models.TextChoices):
    INTO_SWITCH = "into_switch"
    INTO_PLUG = "into_plug"  # into the harness plug: columns run the other way
    UNKNOWN = "unknown"


class Connector(models.Model):
    """The plug as drawn: how to tell which face one looks at, and where pin 1 is."""

    Viewing = ConnectorViewing

    design = models.OneToOneField(Design, on_delete=models.CASCADE, related_name="connector")
    landmark = models.CharField(max_length=200, blank=True, default="")
    viewing = models.CharField(max_length=12, choices=Viewing, default=Viewing.UNKNOWN)
    picture = models.ImageField(upload_to="connectors/", null=True, blank=True)
    common = models.ForeignKey("Pin", null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        constraints = [one_of("viewing", ConnectorViewing, "connector_viewing_known")]

    def __str__(self) -> str:
        return f"connector of {self.design_id}"


class Pin(models.Model):
    """A cavity of the connector with its label; row and column as drawn from the stated side."""

    connector = models.ForeignKey(Connector, on_delete=models.CASCADE, related_name="pins")
    label = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField()
    row = models.PositiveSmallIntegerField(default=1)
    column = models.PositiveSmallIntegerField(default=1)
    empty = models.BooleanField(default=False)  # a cavity without a pin
    line_name = models.CharField(max_length=60, blank=True, default="")  # only as its maker published it

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["connector", "label"], name="pin_label_once_a_connector"),
            models.UniqueConstraint(fields=["connector", "order"], name="pin_order_once_a_connector"),
        ]

    def __str__(self) -> str:
        return self.label


class Position(models.Model):
    """A detent of the lever, or, for a set, a state in which it is read."""

    design = models.ForeignKey(Design, on_delete=models.CASCADE, related_name="positions")
    step = models.PositiveSmallIntegerField()
    label = models.CharField(max_length=40)
    name = models.CharField(max_length=60, blank=True, default="")  # spoken: "reverse"
    releases_starter = models.BooleanField(default=False)

    class Meta:
        ordering = ["step"]
        constraints = [
            models.UniqueConstraint(fields=["design", "step"], name="position_step_once_a_design"),
            models.UniqueConstraint(fields=["design", "label"], name="position_label_once_a_design"),
            models.CheckConstraint(condition=models.Q(step__gte=1), name="position_step_from_one"),
        ]

    def __str__(self) -> str:
        return self.label


class PositionAlias(models.Model):
    position = models.ForeignKey(Position, on_delete=models.CASCADE, related_name="aliases")
    label = models.CharField(max_length=40)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["position", "label"], name="alias_once_a_position")]

    def __str__(self) -> str:
        return self.label


class Place(models.Model):
    """A position (or the gap behind it) and an unordered pair of pins."""

    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="places")
    between = models.BooleanField(default=False)
    pin_a = models.ForeignKey(Pin, on_delete=models.PROTECT, related_name="+")  # the lower id of the two
    pin_b = models.ForeignKey(Pin, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["position", "between", "pin_a", "pin_b"], name="place_once"),
            models.CheckConstraint(condition=~models.Q(pin_a=models.F("pin_b")), name="place_two_pins"),
        ]

    def __str__(self) -> str:
        return f"place {self.pk}"


class SourceClass(models.TextChoices):
    ORIGINAL = "original"
    EQUIVALENT = "equivalent"
    UNKNOWN = "unknown"


class PartNumber(PublicObject):
    SourceClass = SourceClass

    number = models.CharField(max_length=80)
    key = models.CharField(max_length=80, unique=True, editable=False)
    source_class = models.CharField(max_length=10, choices=SourceClass, default=SourceClass.UNKNOWN)
    designs = models.ManyToManyField(Design, blank=True, related_name="part_numbers")
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged_from"
    )

    class Meta:
        ordering = ["number"]
        constraints = [
            one_of("source_class", SourceClass, "part_source_class_known"),
            models.CheckConstraint(condition=~models.Q(key=""), name="part_key_not_empty"),
        ]

    def __str__(self) -> str:
        return self.number

    def save(self, *args: object, **kwargs: object) -> None:
        self.key = part_key(self.number)
        super().save(*args, **kwargs)  # type: ignore[arg-type]


class SamePattern(models.TextChoices):
    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Supersession(PublicObject):
    """One part number took the place of another; whether the pattern stayed is a question of its own."""

    SamePattern = SamePattern

    older = models.ForeignKey(PartNumber, on_delete=models.CASCADE, related_name="superseded_by")
    newer = models.ForeignKey(PartNumber, on_delete=models.CASCADE, related_name="supersedes")
    same_pattern = models.CharField(max_length=7, choices=SamePattern, default=SamePattern.UNKNOWN)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["older", "newer"], name="supersession_once"),
            models.CheckConstraint(
                condition=~models.Q(older=models.F("newer")), name="supersession_not_itself"
            ),
            one_of("same_pattern", SamePattern, "supersession_answer_known"),
        ]

    def __str__(self) -> str:
        return f"{self.older_id} → {self.newer_id}"
