"""All that a check of a suspect asks of the database, in one query.

The answer says in a few words on what the check depends: labels, outcomes, which charts there are.  What was
made of the same words before is used again, so nothing is kept longer than it is true.
"""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass
from functools import lru_cache

from django.db import connection
from django.utils import timezone

from registry.bridge.checks import OtherDesigns, StoredChart
from registry.models import Design
from registry.selectors.catalogue_kept import KeptCatalogue
from registry.selectors.kept_charts import (
    LISTED,
    chart_kept,
    others_listed,
    others_shaped_like,
    published_chart,
)
from registry.selectors.labels import DesignLabels
from registry.selectors.outcomes import MOST_A_VOICE, OutcomeCount
from registry.selectors.standing import ASLEEP_AFTER, FITTING, NEW_FOR

KEPT_LABELS = 256  # designs: some kB each

_LONGEST_AGO = (ASLEEP_AFTER + NEW_FOR).total_seconds()
_COLUMNS = [field.attname for field in Design._meta.concrete_fields]
_QUERY = f"""
SELECT {", ".join(f"d.{name}" for name in _COLUMNS)},
  (SELECT json_agg(json_build_array(p.id, p.step, p.label, a.label) ORDER BY p.step, a.id)::text
    FROM registry_position p LEFT JOIN registry_positionalias a ON a.position_id = p.id
    WHERE p.design_id = d.id),
  (SELECT json_agg(json_build_array(n.id, n."order", n.label) ORDER BY n."order")::text
    FROM registry_connector k JOIN registry_pin n ON n.connector_id = k.id
    WHERE k.design_id = d.id AND NOT n.empty),
  j.checked, j.at_fault, o.checked, o.at_fault, c.shape_key, r.id, substr(r.content_sha256, 1, 16),
  CASE WHEN c.shape_key <> '' THEN ({LISTED.format(shape="c.shape_key", joined="string_agg")}) END
FROM registry_design d
LEFT JOIN registry_currentchart c ON c.design_id = d.id
LEFT JOIN registry_chartrevision r ON r.id = c.revision_id AND r.state = 'published'
CROSS JOIN LATERAL (
  SELECT coalesce(sum(least(told, {MOST_A_VOICE})), 0)::bigint AS checked,
    coalesce(sum((went * least(told, {MOST_A_VOICE}) + told / 2) / told), 0)::bigint AS at_fault
  FROM (
    SELECT count(DISTINCT job.id) AS told, count(DISTINCT job.id) FILTER (WHERE job.outcome = 'went') AS went
    FROM registry_job job JOIN registry_jobsheet s ON s.job_id = job.id AND s.of = 'old'
      JOIN registry_contributor c ON c.id = job.contributor_id
    WHERE job.design_id = d.id AND job.outcome_sent_at IS NOT NULL AND job.closed_at IS NOT NULL
      AND (c.import_name IS NOT NULL OR EXISTS (
        SELECT 1 FROM registry_sheet t JOIN registry_sheetfinding f ON f.sheet_id = t.id
        WHERE t.contributor_id = c.id AND t.withdrawn_at IS NULL AND f.finding IN {FITTING}
          AND t.created_at BETWEEN job.outcome_sent_at - %s * interval '1 second' AND %s))
      AND NOT EXISTS (
        SELECT 1 FROM registry_decision a
        WHERE a.target_uuid = c.uuid AND a.kind = 'set_aside_account' AND a.state = 'in_force')
    GROUP BY c.workshop_id, CASE WHEN c.workshop_id IS NULL THEN c.id END) voices) j
CROSS JOIN LATERAL (
  SELECT coalesce(sum(checked), 0)::bigint AS checked, coalesce(sum(at_fault), 0)::bigint AS at_fault
  FROM registry_outcomecounted WHERE design_id = d.id AND symptom = '') o
WHERE d.uuid = %s
"""  # noqa: S608


@dataclass(frozen=True)
class _Found:
    """positions, pins: as the query gives them; shape: key of the chart's, None where there is none."""

    design: Design
    positions: str | None
    pins: str | None
    outcomes: OutcomeCount
    shape: str | None
    chart: tuple[int, str] | None
    listed: str


class CheckFacts(KeptCatalogue):
    """For the body of one check, whose design is named by its id; else as a KeptCatalogue does.

    SQLite, which has another tongue and less to do, is asked piece by piece.
    """

    def __init__(self) -> None:
        super().__init__()
        self._found: _Found | None = None

    def design(self, text: str) -> Design:
        found = _found(text) if connection.vendor == "postgresql" else None
        if found is None:
            return super().design(text)
        self._found = found
        return found.design

    def labels(self, design: Design) -> DesignLabels:
        found = self._found
        if found is None or found.design is not design:
            return super().labels(design)
        return _labels_of(found.design.pk, found.positions, found.pins)

    def chart(self, design: Design) -> StoredChart | None:
        """The chart that readers of the design are shown."""
        found = self._found
        if found is None or found.design is not design:
            return published_chart(design)
        return None if found.chart is None else chart_kept(found.chart)

    def others(self, design: Design) -> OtherDesigns:
        """Charts of the same shape."""
        found = self._found
        if found is None or found.design is not design:
            return others_shaped_like(design)
        return others_listed(found.shape, found.listed)

    def outcomes(self, design: Design) -> OutcomeCount | None:
        """What became of units that were checked; None where it was not asked."""
        found = self._found
        return found.outcomes if found is not None and found.design is design else None


def _found(text: str) -> _Found | None:
    try:
        key = uuid.UUID(text)
    except ValueError:
        return None
    with connection.cursor() as cursor:
        cursor.execute(_QUERY, [_LONGEST_AGO, timezone.now() - NEW_FOR, key])
        row = cursor.fetchone()
    if row is None:
        return None
    columns, rest = row[: len(_COLUMNS)], row[len(_COLUMNS) :]
    positions, pins, checked, at_fault, told, told_at_fault, shape, revision, sha256, listed = rest
    return _Found(
        design=Design.from_db(connection.alias, _COLUMNS, columns),
        positions=positions,
        pins=pins,
        outcomes=OutcomeCount(checked + told, at_fault + told_at_fault),
        shape=shape or None,
        chart=None if revision is None else (revision, sha256),
        listed=listed or "",
    )


@lru_cache(maxsize=KEPT_LABELS)
def _labels_of(design: int, positions: str | None, pins: str | None) -> DesignLabels:
    """Labels made of the same words before are used again: they are only read."""
    return DesignLabels.of(json.loads(positions or "[]"), json.loads(pins or "[]"))
