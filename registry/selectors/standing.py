"""Who is known here: by what they sent before and how it fitted, not by the age of their account."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.models import Contributor, Sheet, SheetFinding

NEW_FOR = timedelta(days=30)
ASLEEP_AFTER = timedelta(days=180)
FITTING = ("fits", "slip")
ALIKE = 2  # slips of newcomers at one place that are no chance any more


def of_standing(
    now: datetime, *, besides: Iterable[str] = (), fitting: Iterable[str] = FITTING
) -> QuerySet[Contributor]:
    """Those of whom a sheet of the half year that ended 30 days ago fits, of an imported one any sheet.

    Whoever runs the registry vouches for a file, so an imported name need not wait; but one of which nothing
    fits is as new as any other.  besides: ids of sheets that are not asked; fitting: the findings that count
    as such of the others.
    """
    until = now - NEW_FOR
    asked = Sheet.objects.filter(withdrawn_at=None).exclude(uuid__in=list(besides))
    vouching = asked.filter(
        created_at__range=(until - ASLEEP_AFTER, until), finding__finding__in=list(fitting)
    ).values("contributor")
    imported = asked.filter(contributor__import_name__isnull=False, finding__finding="fits")
    return Contributor.objects.filter(Q(pk__in=imported.values("contributor")) | Q(pk__in=vouching))


def slips_alike() -> list[SheetFinding]:
    """Slips of newcomers at a place where another newcomer's sheet, or another of theirs, slips too.

    Each is weighed as what it seems, a contact missed or invented; several at one place may be a campaign too
    small to be told from chance by the engine, so somebody looks, however long it waits: no slip vouches for
    who sent it.
    """
    known = of_standing(timezone.now(), fitting=["fits"])
    slips = (
        SheetFinding.objects.filter(finding="slip", sheet__withdrawn_at=None)
        .exclude(sheet__contributor__in=known.values("pk"))
        .select_related("sheet__design", "sheet__contributor__workshop", "sheet__unit", "revision")
        .defer("revision__content", "revision__inputs")
        .order_by("pk")
    )
    places: dict[tuple[object, ...], list[SheetFinding]] = defaultdict(list)
    for slip in slips:
        for cell in slip.body.get("cells", []):
            pins = sorted((cell["pin"], cell["against"]))
            places[slip.revision.design_id, cell["position"], cell["between"], *pins].append(slip)
    alike = {slip.pk: slip for found in places.values() if len(found) >= ALIKE for slip in found}
    return [alike[pk] for pk in sorted(alike)]
