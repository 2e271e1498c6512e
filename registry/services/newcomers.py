"""Tables that appear in a published chart on the word of new accounts wait for a moderator.

An agreed cell can't be moved unseen; this closes the other way, a false variant of the campaign's own beside
it.
Contributors without an account were imported by whoever runs the registry, and are not newcomers.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from registry.models import Contributor

NEW_FOR = timedelta(days=30)
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
        standing = Contributor.objects.filter(sheets__uuid__in=sheets).exclude(
            user__date_joined__gt=now - NEW_FOR
        )
        voices = {c.pk if c.workshop_id is None else ("workshop", c.workshop_id) for c in standing}
        if len(voices) < KNOWN_CONTRIBUTORS:
            reasons.append({"code": "variant_new", "variant": key})
    return reasons
