"""A row in every table, whatever it means: what moves a registry must not know its tables by heart."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

from django.apps import apps
from django.db import models

from registry.services.database_copy import copied_models

MOMENT = datetime(2026, 11, 3, 4, 5, 6, 789012, tzinfo=UTC)


def _another(model: str) -> Any:
    """A second row beside the first."""
    kind = apps.get_model("registry", model)
    found = list(kind._base_manager.order_by("pk")[:2])
    return found[1].pk if len(found) > 1 else _new(kind).pk


# where one value must fit another
FITTING: dict[str, Callable[[], dict[str, Any]]] = {
    "Supersession": lambda: {"newer_id": _another("PartNumber")},
    "UnitMatch": lambda: {"same_as_id": _another("Unit")},
    "ChartRevision": lambda: {"state": "published", "published_at": MOMENT, "withdrawn_at": None},
    "JobCheck": lambda: {"verdict": "undecided"},
    "Decision": lambda: {"approver_id": None},
}


def rows_everywhere() -> None:
    """Make one row in each table that has none."""
    for model in copied_models():
        row_of(model)


def row_of(model: type[models.Model]) -> Any:
    found = model._base_manager.order_by("pk").first()
    return _new(model) if found is None else found


def _new(model: type[models.Model]) -> Any:
    values = {
        field.attname: _value(field)
        for field in model._meta.local_concrete_fields
        if not (isinstance(field, models.AutoField) or (field.null and field.one_to_one))
    }
    row = model(**{**values, **FITTING.get(model.__name__, dict)()})
    return model._base_manager.bulk_create([row])[0]


def _value(field: Any) -> Any:
    if field.is_relation:
        target = field.related_model
        if field.null and (target is field.model or not target._base_manager.exists()):
            return None
        return getattr(row_of(target), field.target_field.attname)
    if field.choices:
        return field.choices[0][0]
    if field.has_default() and not isinstance(field, models.JSONField):
        return field.get_default()
    return _made(field)


def _made(field: Any) -> Any:
    kinds: dict[type[models.Field[Any, Any]], Any] = {
        models.UUIDField: uuid.uuid4,
        models.EmailField: lambda: "somebody@workshop.example",
        models.JSONField: lambda: {"é": [1, None, 0.1, "\u202e", 1e16, -0.0, 1e300, 5e-324], "b": True},
        models.BinaryField: lambda: b"\x00\xff'\\",
        models.DateTimeField: lambda: MOMENT,
        models.DateField: lambda: date(2026, 11, 3),
        models.BooleanField: lambda: True,
        models.FloatField: lambda: 1 / 3,
        models.IntegerField: lambda: 1,
        models.GenericIPAddressField: lambda: "192.0.2.7",
        models.CharField: lambda: "é'\\"[: field.max_length or 3],
        models.TextField: lambda: "é\n\t'\\ “",
        models.FileField: lambda: "sheets/plug.jpg",
    }
    return next(make() for kind, make in kinds.items() if isinstance(field, kind))
