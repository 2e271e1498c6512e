"""Tables that appear in a published chart on the word of newcomers wait for a moderator.

An agreed cell can't be moved unseen; this closes the other way, a false variant of the campaign's own beside
it.  What counts is what somebody sent before, and that it fitted, not how old their account is: one that was
kept in a drawer, one that slept for half a year, one that was deleted right after its sheets were sent: all
are as new.  The sheets of the table itself don't vouch for it, however long it has waited.
Contributors that were imported under a name of their own are known as soon as something of theirs fits:
whoever runs the registry vouches for a file.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from registry.models import ChartRevision, CurrentChart, Sheet
from registry.selectors.standing import of_standing

KNOWN_CONTRIBUTORS = 4  # as many as a variant needs at all


def reasons_of_newcomers(
    before: dict[str, Any], after: dict[str, Any], now: datetime
) -> list[dict[str, Any]]:
    """variant_new: not in the chart before, and fewer than four contributors of standing stand for it."""
    known = {variant["variant"] for variant in before["variants"]}
    reasons = []
    for variant in after["variants"]:
        key = variant["variant"]
        if key in known:
            continue
        sheets = [entry["submission"] for entry in after["submissions"] if entry["variant"] == key]
        standing = of_standing(now, besides=sheets).filter(sheets__uuid__in=sheets)
        voices = {c.pk if c.workshop_id is None else ("workshop", c.workshop_id) for c in standing}
        if len(voices) < KNOWN_CONTRIBUTORS:
            reasons.append({"code": "variant_new", "variant": key})
    return reasons


def held_for(revision: ChartRevision) -> set[str]:
    """Ids of the sheets on which a held revision rests: those of its new tables, or newcomers' new ones."""
    new = {reason["variant"] for reason in revision.held_because if reason["code"] == "variant_new"}
    if new:
        content = json.loads(bytes(revision.content))
        return {entry["submission"] for entry in content["submissions"] if entry["variant"] in new}
    current = CurrentChart.objects.filter(design=revision.design_id).select_related("revision").first()
    before = {} if current is None else _versions(current.revision)
    now = _versions(revision)
    changed = [sheet for sheet, version in now.items() if before.get(sheet) != version]
    known = of_standing(revision.created_at, besides=changed).values("pk")
    newcomers = Sheet.objects.filter(uuid__in=changed).exclude(contributor__in=known)
    return {str(uuid) for uuid in newcomers.values_list("uuid", flat=True)}


def _versions(revision: ChartRevision) -> dict[str, str]:
    return {entry["sheet"]: entry["digest"] for entry in revision.inputs.get("sheets", [])}
