"""A design as the API shows it: a line of a list, and all of it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.filters import STANDINGS
from registry.models.catalogue import ConnectorViewing, DesignActuation, DesignState, SourceClass


class ChartFigures(serializers.Serializer[Any]):
    """Which chart is current, and the few figures that say how sure it is."""

    revision = serializers.IntegerField(source="revision.number")
    published = serializers.DateTimeField(source="revision.published_at")
    digest = serializers.CharField(source="revision.digest", help_text="SHA-256 of the chart's inputs")
    standing = serializers.ChoiceField(
        choices=STANDINGS, help_text="Standing of the weakest cell that was read"
    )
    cells = serializers.IntegerField()
    cells_agreed = serializers.IntegerField()
    units = serializers.IntegerField(help_text="Independent units, not sheets")
    contributors = serializers.IntegerField()


class PartNumberLine(serializers.Serializer[Any]):
    number = serializers.CharField()
    source_class = serializers.ChoiceField(choices=SourceClass.choices)


class DesignLine(serializers.Serializer[Any]):
    uuid = serializers.UUIDField(help_text="The same as `design`")
    design = serializers.UUIDField(source="uuid", help_text="The id that means the same in every registry")
    origin = serializers.CharField(help_text="The registry that this design was first entered in")
    name = serializers.CharField()
    maker = serializers.CharField(source="maker.name", default=None, allow_null=True)
    families = serializers.SerializerMethodField(help_text="Gearbox families")
    part_numbers = PartNumberLine(many=True)
    state = serializers.ChoiceField(choices=DesignState.choices)
    actuation = serializers.ChoiceField(choices=DesignActuation.choices)
    positions = serializers.SerializerMethodField(help_text="Labels in detent order")
    pins = serializers.SerializerMethodField(help_text="Labels in connector order, empty cavities left out")
    common = serializers.CharField(
        source="connector.common.label", default=None, allow_null=True, help_text="The pin all share, if any"
    )
    chart = serializers.SerializerMethodField(help_text="null: nothing has been published yet")

    def get_families(self, design: Any) -> list[str]:
        return [family.name for family in design.families.all()]

    def get_positions(self, design: Any) -> list[str]:
        return [position.label for position in design.positions.all()]

    def get_pins(self, design: Any) -> list[str]:
        connector = getattr(design, "connector", None)
        return [] if connector is None else [pin.label for pin in connector.pins.all() if not pin.empty]

    @extend_schema_field(ChartFigures(allow_null=True))
    def get_chart(self, design: Any) -> Any:
        current = getattr(design, "current_chart", None)
        if current is None or current.revision.published_at is None:
            return None
        return ChartFigures(current).data


class PinDrawn(serializers.Serializer[Any]):
    label = serializers.CharField()  # type: ignore[assignment]
    row = serializers.IntegerField()
    column = serializers.IntegerField()
    empty = serializers.BooleanField(help_text="A cavity without a pin")
    line_name = serializers.CharField(allow_blank=True, help_text="Only as its maker published it")


class ConnectorDrawn(serializers.Serializer[Any]):
    landmark = serializers.CharField(allow_blank=True)
    viewing = serializers.ChoiceField(choices=ConnectorViewing.choices)
    common = serializers.CharField(source="common.label", default=None, allow_null=True)
    pins = PinDrawn(many=True)


class PositionNamed(serializers.Serializer[Any]):
    step = serializers.IntegerField()
    label = serializers.CharField()  # type: ignore[assignment]
    name = serializers.CharField(allow_blank=True)
    releases_starter = serializers.BooleanField()
    aliases = serializers.SerializerMethodField()

    def get_aliases(self, position: Any) -> list[str]:
        return [alias.label for alias in position.aliases.all()]


class ApplicationLine(serializers.Serializer[Any]):
    vehicle = serializers.CharField()
    family = serializers.CharField(source="family.name", default=None, allow_null=True)
    year_from = serializers.IntegerField(allow_null=True)
    year_to = serializers.IntegerField(allow_null=True)


class DesignFull(DesignLine):
    """All of a design."""

    description = serializers.CharField(allow_blank=True)
    connector = ConnectorDrawn(allow_null=True, default=None)
    detents = PositionNamed(source="positions", many=True, help_text="The positions in full")
    applications = ApplicationLine(many=True)
    start_known = serializers.BooleanField(
        help_text="Whether somebody said which positions release the starter"
    )
    edit = serializers.IntegerField(source="edit_number", help_text="An edit names this number")
    proposed_by = serializers.CharField(
        source="proposed_by.pseudonym", default=None, allow_null=True, help_text="A pseudonym"
    )
    replaces = serializers.SerializerMethodField(help_text="Designs that this one took the place of")
    replaced_by = serializers.SerializerMethodField()

    def get_replaces(self, design: Any) -> list[str]:
        return [str(other.uuid) for other in design.replaces.all()]

    def get_replaced_by(self, design: Any) -> list[str]:
        return [str(other.uuid) for other in design.replaced_by.all()]
