"""A bench sheet as the API shows it: to all under a pseudonym, to its contributor in full."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.description.charts import FINDING_WORDS
from registry.formats.sentences import finding_message
from registry.models import Sheet
from registry.models.catalogue import SourceClass
from registry.models.sheets import HeldGood, ReadAt, ReadingKind, SheetVersionPurpose
from registry.selectors.api_sheets import body_of, reading_plain, readings_as_typed


class FindingBrief(serializers.Serializer[Any]):
    finding = serializers.ChoiceField(choices=FINDING_WORDS)
    p = serializers.FloatField(min_value=0, max_value=1)


class FindingPlace(serializers.Serializer[Any]):
    position = serializers.CharField()
    pin = serializers.CharField()
    against = serializers.CharField(allow_blank=True)
    between = serializers.BooleanField()


class FindingLine(FindingBrief):
    """Why a sheet fits or doesn't."""

    submission = serializers.UUIDField(source="sheet.uuid")
    design = serializers.UUIDField(source="sheet.design.uuid")
    contributor = serializers.CharField(source="sheet.contributor.pseudonym", help_text="A pseudonym")
    revision = serializers.IntegerField(source="revision.number", help_text="Of the computation")
    revision_state = serializers.ChoiceField(
        choices=["held", "published", "withdrawn", "refused"], source="revision.state"
    )
    variant = serializers.SerializerMethodField()
    also = serializers.SerializerMethodField()
    cells = serializers.SerializerMethodField()
    message = serializers.SerializerMethodField(help_text="One or two sentences")

    def get_variant(self, finding: Any) -> str | None:
        return finding.variant or None

    @extend_schema_field(FindingBrief(many=True))
    def get_also(self, finding: Any) -> Any:
        return finding.body.get("also", [])

    @extend_schema_field(FindingPlace(many=True))
    def get_cells(self, finding: Any) -> Any:
        return finding.body.get("cells", [])

    def get_message(self, finding: Any) -> str:
        connector = getattr(finding.sheet.design, "connector", None)
        common = None if connector is None or connector.common is None else connector.common.label
        return finding_message(finding.body, common)


class SheetLine(serializers.Serializer[Any]):
    """A sheet without its readings.  Takes rows of `sheets_for_api`."""

    submission = serializers.UUIDField(source="uuid")
    origin = serializers.CharField(help_text="The registry that it was first sent to")
    design = serializers.UUIDField(source="design.uuid")
    design_name = serializers.CharField(source="design.name")
    contributor = serializers.CharField(source="contributor.pseudonym", help_text="A pseudonym")
    unit = serializers.UUIDField(source="unit.uuid", help_text="The physical switch")
    date_code = serializers.CharField(source="unit.date_code", allow_blank=True)
    version = serializers.IntegerField(source="shown.number")
    sent = serializers.DateTimeField(source="created_at")
    amended = serializers.DateTimeField(source="shown.created_at", help_text="This version's time")
    withdrawn = serializers.DateTimeField(source="withdrawn_at", allow_null=True)
    purpose = serializers.ChoiceField(choices=SheetVersionPurpose.choices, source="shown.purpose")
    held_good = serializers.ChoiceField(choices=HeldGood.choices, source="shown.held_good")
    source_class = serializers.ChoiceField(choices=SourceClass.choices, source="shown.source_class")
    read_at = serializers.ChoiceField(choices=ReadAt.choices, source="shown.read_at")
    read_on = serializers.DateField(source="shown.read_on", allow_null=True)
    distance_km = serializers.FloatField(
        source="shown.distance_km", allow_null=True, help_text="On the unit, not on the vehicle"
    )
    units_claimed = serializers.IntegerField(
        source="shown.units_claimed", help_text="More than 1: a summary of several units"
    )
    rereads = serializers.UUIDField(
        source="rereads.uuid", default=None, allow_null=True, help_text="The sheet that it reads again"
    )
    licence = serializers.CharField()
    finding = serializers.SerializerMethodField(help_text="null: not computed yet, or not part of a pattern")

    def to_representation(self, sheet: Any) -> Any:
        sheet.shown = sheet.current[0]
        return super().to_representation(sheet)

    @extend_schema_field(FindingBrief(allow_null=True))
    def get_finding(self, sheet: Any) -> Any:
        found = getattr(sheet, "finding", None)
        return None if found is None else {"finding": found.finding, "p": found.p}


class OwnSheetLine(SheetLine):
    """One's own sheet in a list."""

    name = serializers.CharField()
    unit_key = serializers.CharField(source="unit.key", help_text="Your own name of the switch")
    client_id = serializers.UUIDField()
    readings = serializers.IntegerField(source="shown.reading_count", help_text="How many")


class ReadingLine(serializers.Serializer[Any]):
    position = serializers.CharField()
    pin = serializers.CharField()
    against = serializers.CharField()
    reading = serializers.CharField(allow_blank=True, help_text="As typed; blank: not taken")
    sweep = serializers.IntegerField()
    between = serializers.BooleanField()
    first_pass = serializers.BooleanField(help_text="false: changed after the pattern had been shown")
    kind = serializers.ChoiceField(choices=ReadingKind.choices)
    low_ohm = serializers.FloatField(allow_null=True)
    high_ohm = serializers.FloatField(allow_null=True)
    limit_ohm = serializers.FloatField()
    lead_ohm = serializers.FloatField()


class BehindLine(serializers.Serializer[Any]):
    """A reading behind a chart."""

    submission = serializers.UUIDField(source="version.sheet.uuid")
    version = serializers.IntegerField(source="version.number")
    contributor = serializers.CharField(source="version.sheet.contributor.pseudonym")
    unit = serializers.UUIDField(source="version.sheet.unit.uuid")
    source_class = serializers.ChoiceField(choices=SourceClass.choices, source="version.source_class")
    held_good = serializers.ChoiceField(choices=HeldGood.choices, source="version.held_good")
    reading = serializers.SerializerMethodField()

    @extend_schema_field(ReadingLine)
    def get_reading(self, reading: Any) -> Any:
        return reading_plain(reading)


class SheetFull(SheetLine):
    """A sheet with its readings.  `own` is for its contributor alone."""

    readings = ReadingLine(many=True)
    own = serializers.DictField(
        allow_null=True, help_text="To its contributor: the body as sent, from which an amendment starts"
    )


def sheet_full(sheet: Sheet, *, own: bool, readings: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """The document of one sheet.  readings: from `reading_plain`, where they are at hand."""
    if readings is None:
        current = sheet.current[0]  # type: ignore[attr-defined]
        readings = [reading_plain(reading) for reading in readings_as_typed(current)]
    return {
        **SheetLine(sheet).data,
        "readings": readings,
        "own": body_of(sheet, readings) if own else None,
    }
