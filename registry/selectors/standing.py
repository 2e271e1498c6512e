"""Who is known here: by what they sent before and how it fitted, not by the age of their account."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.formats.sentences import far_figures
from registry.models import Contributor, Sheet, SheetFinding

NEW_FOR = timedelta(days=30)
ASLEEP_AFTER = timedelta(days=180)
FITTING = ("fits", "slip")
ALIKE = 2  # sheets of newcomers that say the same at one place are no chance any more


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


def newcomers_alike() -> list[SheetFinding]:
    """Sheets of newcomers of which another newcomer's, or another of theirs, says the same at one place.

    What they say there is a slip, a contact missed or invented; or a figure far beyond what the cell shows,
    which changes no state.  Each is weighed as what it seems; several at one place may be a campaign too
    small to be told from chance by the engine, so somebody looks, however long it waits: no slip vouches for
    who sent it.
    """
    known = of_standing(timezone.now(), fitting=["fits"])
    findings = (
        SheetFinding.objects.filter(
            Q(finding="slip") | Q(finding="fits", body__unusual__0__isnull=False), sheet__withdrawn_at=None
        )
        .exclude(sheet__contributor__in=known.values("pk"))
        .select_related("sheet__design", "sheet__contributor__workshop", "sheet__unit", "revision")
        .defer("revision__content", "revision__inputs")
        .order_by("pk")
    )
    places: dict[tuple[object, ...], list[SheetFinding]] = defaultdict(list)
    for found in findings:
        for cell in [*found.body.get("cells", []), *far_figures(found.body)]:
            pins = sorted((cell["pin"], cell["against"]))
            places[found.revision.design_id, cell["position"], cell["between"], *pins].append(found)
    alike = {one.pk: one for there in places.values() if len(there) >= ALIKE for one in there}
    return [alike[pk] for pk in sorted(alike)]
