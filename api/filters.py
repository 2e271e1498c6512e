"""What lists can be narrowed down by.  A value that can't be read is an error, never ignored."""

from __future__ import annotations

from typing import Any

import django_filters
from django import forms
from django.db.models import Q, QuerySet
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework.request import Request

from api.description.charts import FINDING_WORDS
from api.problems import Failure, fault
from registry.errors import RegistryError
from registry.models import part_key
from registry.models.catalogue import DesignActuation, DesignState
from registry.models.decisions import DecisionKind, DecisionState, DisputeState
from registry.models.webhooks import DeliveryState
from registry.selectors.designs import search_designs
from registry.translation import gettext as _

STANDINGS = ["agreed", "provisional", "disputed", "thin", "unread"]


class WholeNumberFilter(django_filters.Filter):
    field_class = forms.IntegerField


def whole(name: str, most: int, label: str) -> WholeNumberFilter:
    return WholeNumberFilter(field_name=name, min_value=0, max_value=most, label=label)


class ApiFilterSet(django_filters.FilterSet):
    """Words of the query that can't be read raise all their errors in one go."""


class StrictFilters(DjangoFilterBackend):
    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        filterset = self.get_filterset(request, queryset, view)
        if filterset is None:
            return queryset
        blank = [name for name in filterset.filters if request.query_params.get(name) == ""]
        wrong = [(name, _("This is empty. Leave the parameter out instead.")) for name in blank]
        if not filterset.is_valid():
            wrong += [(name, str(text)) for name, texts in filterset.errors.items() for text in texts]
        if wrong:
            errors = [
                {**fault(RegistryError("parameter_invalid", text)), "parameter": name} for name, text in wrong
            ]
            detail = f"{wrong[0][0]}: {wrong[0][1]}"
            raise Failure(400, "parameter_invalid", detail, errors=errors)
        return filterset.qs


class DesignFilter(ApiFilterSet):
    q = django_filters.CharFilter(
        method="by_words",
        max_length=200,
        label="Words: part number, name, maker, gearbox, vehicle, year, or a shape (“six pins, 7 positions”)",
    )
    part_number = django_filters.CharFilter(
        method="by_part", max_length=80, label="A part number, however it is punctuated"
    )
    pins = whole("pin_count", 999, "How many pins the connector has")
    lines = WholeNumberFilter(
        method="by_lines", min_value=0, max_value=998, label="How many pins beside the common"
    )
    positions = whole("position_count", 999, "How many positions the lever has")
    standing = django_filters.ChoiceFilter(
        method="by_standing",
        choices=[(word, word) for word in STANDINGS],
        label="Standing of the weakest cell that was read; unread: no chart yet",
    )
    state = django_filters.ChoiceFilter(choices=DesignState.choices, label="Proposed or confirmed")
    actuation = django_filters.ChoiceFilter(choices=DesignActuation.choices, label="What moves it")
    maker = django_filters.CharFilter(
        field_name="maker__name", lookup_expr="iexact", max_length=120, label="The maker's name"
    )

    def by_words(self, designs: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return designs.filter(pk__in=search_designs(value).order_by().values("pk"))

    def by_part(self, designs: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return designs.filter(part_numbers__key=part_key(value) or "\x01")

    def by_lines(self, designs: QuerySet[Any], name: str, value: int) -> QuerySet[Any]:
        return designs.filter(pin_count=value + 1)

    def by_standing(self, designs: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        fits = Q(current_chart__standing=value)
        if value == "unread":
            fits |= Q(current_chart__isnull=True)
        return designs.filter(fits)


class ChartFilter(ApiFilterSet):
    standing = django_filters.ChoiceFilter(
        choices=[(word, word) for word in STANDINGS], label="Standing of the weakest cell that was read"
    )
    part_number = django_filters.CharFilter(
        method="by_part", max_length=80, label="A part number, however it is punctuated"
    )
    state = django_filters.ChoiceFilter(
        field_name="revision__state",
        choices=[("published", "published"), ("withdrawn", "withdrawn")],
        label="Published or withdrawn",
    )

    def by_part(self, charts: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return charts.filter(design__part_numbers__key=part_key(value) or "\x01")


class BooleanWordFilter(django_filters.ChoiceFilter):
    """`true` or `false`, in these words."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=[("true", "true"), ("false", "false")], **kwargs)


class OwnSheetFilter(ApiFilterSet):
    design = django_filters.UUIDFilter(field_name="design__uuid", label="Of this design")
    finding = django_filters.ChoiceFilter(
        field_name="finding__finding",
        choices=[(word, word) for word in FINDING_WORDS],
        label="With this finding",
    )
    withdrawn = BooleanWordFilter(method="by_withdrawn", label="Withdrawn ones only, or the others only")

    def by_withdrawn(self, sheets: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        return sheets.filter(withdrawn_at__isnull=value == "false")


class DisputeFilter(ApiFilterSet):
    state = django_filters.ChoiceFilter(choices=DisputeState.choices, label="In this state")
    target = django_filters.UUIDFilter(field_name="target_uuid", label="About this sheet, design or revision")


class DecisionFilter(ApiFilterSet):
    state = django_filters.ChoiceFilter(choices=DecisionState.choices, label="In this state")
    kind = django_filters.ChoiceFilter(choices=DecisionKind.choices, label="Of this kind")
    target = django_filters.UUIDFilter(field_name="target_uuid", label="About this sheet, design or revision")


class DeliveryFilter(ApiFilterSet):
    state = django_filters.ChoiceFilter(choices=DeliveryState.choices, label="In this state")


class FindingFilter(ApiFilterSet):
    design = django_filters.UUIDFilter(field_name="sheet__design__uuid", label="Of this design")
    submission = django_filters.UUIDFilter(field_name="sheet__uuid", label="Of this sheet")
    finding = django_filters.ChoiceFilter(
        choices=[(word, word) for word in FINDING_WORDS], label="Of this kind"
    )
