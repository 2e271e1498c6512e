"""The readings that a published revision was computed from, under pseudonyms."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from registry.models import ChartRevision, Reading, SheetVersion

CHUNK = 500
SHOWN = (ChartRevision.State.PUBLISHED, ChartRevision.State.WITHDRAWN)


def readings_behind(design: UUID, number: int | None) -> QuerySet[Any] | None:
    """Of the frozen sheet versions of a revision (None: the current one); None where there is no such chart.

    A sheet that its contributor has taken back since is left out.
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
    inputs = revisions.values_list("inputs", flat=True).first()
    if inputs is None:
        return None
    return (
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
