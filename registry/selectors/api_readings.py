"""The readings that a published revision was computed from, under pseudonyms."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from registry.models import ChartRevision, Reading, SheetVersion

CHUNK = 500
SHOWN = (ChartRevision.State.PUBLISHED, ChartRevision.State.WITHDRAWN)


def readings_behind(design: UUID, number: int | None) -> tuple[int, QuerySet[Any]] | None:
    """A revision's number, and the readings of its frozen sheet versions; None where there is no such chart.

    number: None for the current one.  A sheet that its contributor has taken back since is left out.
    """
    revisions = ChartRevision.objects.filter(design__uuid=design, state__in=SHOWN)
    if number is None:
        revisions = ChartRevision.objects.filter(
            pk__in=revisions.filter(design__current_chart__revision__state__in=SHOWN).values(
                "design__current_chart__revision"
            )
        )
    else:
        revisions = revisions.filter(number=number)
    found = revisions.values_list("number", "inputs").first()
    if found is None:
        return None
    number, inputs = found
    readings = (
        Reading.objects.filter(version__in=_versions(inputs))
        .select_related(
            "place__position",
            "place__pin_a",
            "place__pin_b",
            "version__sheet__contributor",
            "version__sheet__unit",
        )
        .order_by("pk")
    )
    return number, readings


def _versions(inputs: dict[str, Any]) -> list[int]:
    wanted = {entry["sheet"]: entry["version"] for entry in inputs.get("sheets", [])}
    names = sorted(wanted)
    found: list[int] = []
    for start in range(0, len(names), CHUNK):
        rows = SheetVersion.objects.filter(
            sheet__uuid__in=names[start : start + CHUNK], sheet__withdrawn_at__isnull=True
        ).values_list("pk", "sheet__uuid", "number")
        found += [pk for pk, sheet, number in rows if wanted[str(sheet)] == number]
    return found
