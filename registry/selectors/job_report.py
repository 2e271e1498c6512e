"""What the report of a job holds: the pattern that its units were checked against, and what they read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from registry.models import ChartRevision, Job, JobCheck, JobSheet
from registry.models.jobs import JobUnit
from registry.selectors.jobs import check_of, current_revision, sheets_of_job

Plain = dict[str, Any]
Place = tuple[str, tuple[str, ...]]


def place_of(row: Mapping[str, Any]) -> Place:
    """A position and an unordered pair of pins."""
    return str(row["position"]), tuple(sorted((str(row["pin"]), str(row["against"]))))


def as_typed(sheet: JobSheet | None) -> dict[Place, str]:
    """The first sweep of a job's sheet as it was typed, second pass over the first; gaps are left out."""
    if sheet is None:
        return {}
    rows = [*sheet.body.get("readings", []), *(sheet.body.get("second_pass") or [])]
    return {
        place_of(row): str(row.get("reading") or "")
        for row in rows
        if not row.get("between") and int(row.get("sweep") or 1) == 1
    }


def report_content(job: Job) -> Plain:
    """chart and revision number, or None; old and new: readings, checks; unlike: the old unit's places."""
    sheets = sheets_of_job(job)
    old, new = sheets.get(JobUnit.OLD), sheets.get(JobUnit.NEW)
    check = check_of(old) or check_of(new)
    revision = _revision(check) or current_revision(job)
    chart = None
    if revision is not None:
        stored = ChartRevision.objects.only("content").get(pk=revision.pk)
        chart = json.loads(bytes(stored.content))
    unlike = [] if check_of(old) is None else check_of(old).result.get("unlike", [])  # type: ignore[union-attr]
    return {
        "chart": chart,
        "revision": None if revision is None else revision.number,
        "old": as_typed(old),
        "new": as_typed(new),
        "old_check": check_of(old),
        "new_check": check_of(new),
        "unlike": {place_of(read) for read in unlike if not read.get("between")},
    }


def _revision(check: JobCheck | None) -> Any:
    return None if check is None else check.revision
