"""Tables that joined a published chart with nobody at the desk having looked.

Newcomers' tables wait (`services/newcomers`).  Those of contributors of standing are published at once, for
that is how a true variant comes; patience buys a false one the same way, so somebody looks afterwards, once.
"""

from __future__ import annotations

from collections import defaultdict

from django.db.models import Exists, F, OuterRef, Subquery

from registry.models import ChartRevision, Decision, SheetFinding, Target, Variant


def late_tables() -> list[list[SheetFinding]]:
    """The sheets of each table that came later than its design's first published chart."""
    published = ChartRevision.objects.filter(state=ChartRevision.State.PUBLISHED)
    first = published.filter(design=OuterRef("design")).order_by("number").values("created_at")[:1]
    let_pass = Decision.objects.filter(
        kind=Decision.Kind.PUBLISH, state=Decision.State.IN_FORCE, target_kind=Target.REVISION
    ).values("target_uuid")
    looked = published.filter(
        design=OuterRef("design"), created_at__gte=OuterRef("created_at"), uuid__in=let_pass
    )
    late = Variant.objects.annotate(first=Subquery(first)).filter(created_at__gt=F("first"))
    keys = set(late.exclude(Exists(looked)).values_list("design", "key"))
    tables: dict[tuple[int, str], list[SheetFinding]] = defaultdict(list)
    if keys:
        findings = SheetFinding.objects.filter(
            finding="other_variant",
            sheet__withdrawn_at=None,
            revision__design__in={design for design, _key in keys},
            revision__state=ChartRevision.State.PUBLISHED,
        )
        about = ("sheet__contributor__workshop", "sheet__unit", "revision__design")
        hidden = ("revision__content", "revision__inputs")
        for found in findings.select_related(*about).defer(*hidden).order_by("pk"):
            if (found.revision.design_id, found.variant) in keys:
                tables[found.revision.design_id, found.variant].append(found)
    return [tables[key] for key in sorted(tables)]
