"""What a registry publishes, as rows of the package's tables: of everything, or of one design.

Published are the catalogue, revisions that were published, and the sheets behind them or newer, under
pseudonyms.  Left out: sheets that were taken back, revisions that were held or refused, names and notes of
contributors, and whom a decision about an account concerns.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet

from registry.bridge.charts import ENGINE_VERSION, engine_settings
from registry.formats.canonical import canonical
from registry.formats.package_cell_table import cell_rows
from registry.formats.package_job_tables import JOB_TABLES
from registry.models import (
    ChartRevision,
    CurrentChart,
    Decision,
    Design,
    Dispute,
    Reading,
    SheetVersion,
    Target,
)
from registry.models import ReliabilitySnapshot as Snapshot
from registry.selectors.api_charts import SHOWN
from registry.selectors.overlays import Overlays, decisions_in_force
from registry.selectors.package_catalogue import CATALOGUE
from registry.selectors.package_jobs import JobRows
from registry.selectors.unit_groups import unit_groups

Row = tuple[Any, ...]
Plain = dict[str, Any]
CHUNK = 500
OF_JOBS = {table.name for table in JOB_TABLES}


class PackageRows:
    """Rows and lines of one package; read it in one transaction."""

    def __init__(self, design: Design | None = None) -> None:
        self.design = design
        overlays = Overlays(decisions_in_force())
        self._aside = overlays.accounts_aside
        self._behind: set[tuple[str, int]] = set()
        for inputs in self._revisions().values_list("inputs", flat=True).iterator(chunk_size=50):
            self._behind |= _named(inputs)
        self.versions = sorted(self._versions(), key=lambda one: (str(one.sheet.uuid), one.number))
        self._there = {(str(one.sheet.uuid), one.number) for one in self.versions}
        self._jobs = JobRows(design, set(self._aside))
        people = [*(one.sheet.contributor for one in self.versions), *self._jobs.people()]
        self._people = {person.pseudonym: person for person in people}

    def table(self, name: str) -> Iterator[Row]:
        if name in CATALOGUE:
            return CATALOGUE[name](self.design)
        if name in OF_JOBS:
            return self._jobs.table(name, list(self._people.values()))
        rows: Iterator[Row] = getattr(self, f"_{name}")()
        return rows

    def lines(self, name: str) -> Iterator[bytes]:
        """Content or inputs of each row of `charts`, contents of the snapshots."""
        if name == "snapshots":
            for snapshot in self._snapshots_used():
                yield canonical(snapshot.content)
            return
        for revision in (
            self._revisions().only(*(["content"] if name == "charts" else ["inputs"])).iterator(100)
        ):
            yield bytes(revision.content) if name == "charts" else canonical(revision.inputs)

    def _revisions(self) -> QuerySet[ChartRevision]:
        revisions = ChartRevision.objects.filter(state__in=SHOWN).order_by("design__uuid", "number")
        return revisions if self.design is None else revisions.filter(design=self.design)

    def _versions(self) -> Iterator[SheetVersion]:
        versions = SheetVersion.objects.filter(sheet__withdrawn_at__isnull=True).select_related(
            "sheet__design",
            "sheet__unit__part_number",
            "sheet__unit__contributor",
            "sheet__contributor__workshop",
            "sheet__rereads",
        )
        if self.design is not None:
            versions = versions.filter(sheet__design=self.design)
        for version in versions.iterator(chunk_size=2000):
            if version.is_current or (str(version.sheet.uuid), version.number) in self._behind:
                yield version

    def _settings(self) -> Iterator[Row]:
        about = {
            "registry.origin": settings.BENCHQUORUM_ORIGIN,
            "registry.licence": settings.BENCHQUORUM_DATA_LICENCE,
            "engine.version": ENGINE_VERSION,
            **{f"engine.{name}": value for name, value in engine_settings().items()},
        }
        for name in sorted(about):
            yield name, canonical(about[name]).decode()

    def _contributors(self) -> Iterator[Row]:
        for pseudonym, person in sorted(self._people.items()):
            yield pseudonym, person.origin, "" if person.workshop is None else str(person.workshop.uuid)

    def _units(self) -> Iterator[Row]:
        units = {event.unit_id: (event.unit, event.unit.design) for event in self._jobs.events}
        units |= {one.sheet.unit_id: (one.sheet.unit, one.sheet.design) for one in self.versions}
        groups = unit_groups(units)
        for pk, (unit, design) in sorted(units.items(), key=lambda pair: str(pair[1][0].uuid)):
            part = unit.part_number
            yield (
                str(unit.uuid),
                unit.origin,
                str(design.uuid),
                unit.contributor.pseudonym,
                unit.date_code,
                "" if part is None else str(part.uuid),
                groups.get(pk, ""),
            )

    def _sheets(self) -> Iterator[Row]:
        stored = {pk: n for n, pk in enumerate(sorted({one.sheet_id for one in self.versions}), 1)}
        for version in self.versions:
            sheet = version.sheet
            yield (
                str(sheet.uuid),
                version.number,
                sheet.origin,
                str(sheet.design.uuid),
                str(sheet.unit.uuid),
                sheet.contributor.pseudonym,
                version.is_current,
                sheet.contributor.uuid not in self._aside,
                "" if sheet.rereads is None else str(sheet.rereads.uuid),
                sheet.licence,
                sheet.measured_it_myself,
                version.pattern_shown,
                version.purpose,
                version.held_good,
                version.source_class,
                version.read_at,
                version.read_on,
                version.distance_km,
                version.units_claimed,
                version.digest,
                stored[version.sheet_id],
            )

    def _readings(self) -> Iterator[Row]:
        for start in range(0, len(self.versions), CHUNK):
            part = self.versions[start : start + CHUNK]
            found: dict[int, list[Row]] = {version.pk: [] for version in part}
            readings = Reading.objects.filter(version__in=list(found)).values_list(
                "version_id",
                "place__position__label",
                "place__between",
                "place__pin_a__label",
                "place__pin_b__label",
                "turned",
                *("sweep", "as_typed", "kind", "low_ohm", "high_ohm", "limit_ohm", "lead_ohm", "first_pass"),
            )
            for version, position, between, a, b, turned, *rest in readings.iterator(chunk_size=5000):
                pin, against = (b, a) if turned else (a, b)
                found[version].append((position, between, pin, against, *rest, turned))
            for version in part:
                for row in sorted(found[version.pk], key=lambda row: row[:5]):
                    yield str(version.sheet.uuid), version.number, *row

    def _decisions(self) -> Iterator[Row]:
        decisions = Decision.objects.exclude(kind=Decision.Kind.SUSPEND).order_by("created_at", "uuid")
        if self.design is not None:
            about = [self.design.uuid, *{version.sheet.uuid for version in self.versions}]
            about += [*self._revisions().values_list("uuid", flat=True), *self._jobs.facts_named()]
            found = sorted(
                _each(decisions, "target_uuid", about), key=lambda one: (one.created_at, str(one.uuid))
            )
        else:
            found = list(decisions)
        for decision in found:
            account = decision.target_kind == Target.ACCOUNT
            yield (
                str(decision.uuid),
                decision.origin,
                decision.kind,
                decision.target_kind,
                "" if account else str(decision.target_uuid),
                decision.target_cell,
                {} if account else decision.payload,
                "" if account else decision.reason,
                decision.state,
                decision.needs_second,
                decision.created_at,
                decision.effective_at,
                decision.undone_at,
            )

    def _disputes(self) -> Iterator[Row]:
        disputes = Dispute.objects.exclude(target_kind=Target.ACCOUNT)
        found: Iterable[Dispute] = disputes
        if self.design is not None:
            about = [self.design.uuid, *{version.sheet.uuid for version in self.versions}]
            about += self._jobs.facts_named()
            found = _each(disputes, "target_uuid", about)
        for one in sorted(found, key=lambda one: str(one.uuid)):
            yield str(one.uuid), one.origin, one.target_kind, str(one.target_uuid), one.target_cell, one.state

    def _snapshots_used(self) -> QuerySet[Snapshot]:
        used = self._revisions().order_by().values_list("snapshot", flat=True).distinct()
        snapshots = Snapshot.objects.order_by("number")
        if self.design is None:  # the one in force too: what is computed next rests on it
            newest = snapshots.values_list("pk", flat=True).last()
            return snapshots.filter(Q(pk__in=list(used)) | Q(pk=newest))
        return snapshots.filter(pk__in=list(used))

    def _snapshots(self) -> Iterator[Row]:
        for one in self._snapshots_used():
            yield one.number, one.origin, str(one.uuid), one.engine, one.digest

    def _charts(self) -> Iterator[Row]:
        shown = set(CurrentChart.objects.values_list("revision_id", flat=True))
        revisions = (
            self._revisions().select_related("design", "snapshot").defer("content", "snapshot__content")
        )
        for one in revisions.iterator(chunk_size=50):
            yield (
                str(one.design.uuid),
                one.number,
                one.origin,
                str(one.uuid),
                one.digest,
                one.evidence,
                one.content_sha256,
                one.inputs.get("engine", ""),
                None if one.snapshot is None else one.snapshot.number,
                one.state,
                one.pk in shown,
                one.published_at,
                one.withdrawn_at,
                one.withdrawn_reason,
                self._held_back(one.inputs),
            )

    def _held_back(self, inputs: Plain) -> int:
        missing = _named(inputs) - self._there
        if self.design is None or not missing:
            return len(missing)
        versions = SheetVersion.objects.filter(sheet__withdrawn_at__isnull=True)
        found = _each(
            versions.values_list("sheet__uuid", "number"), "sheet__uuid", {sheet for sheet, _ in missing}
        )  # sheets of other designs count here after a move or merge
        return len(missing - {(str(sheet), number) for sheet, number in found})

    def _cells(self) -> Iterator[Row]:
        for one in self._revisions().select_related("design").defer("inputs").iterator(chunk_size=50):
            yield from cell_rows(str(one.design.uuid), one.number, json.loads(bytes(one.content)))


def _each(rows: QuerySet[Any], field: str, values: Iterable[Any]) -> Iterator[Any]:
    """Rows of which a field is one of many values, however many the database takes at once."""
    wanted = sorted(values)
    for start in range(0, len(wanted), CHUNK):
        yield from rows.filter(**{f"{field}__in": wanted[start : start + CHUNK]})


def _named(inputs: Plain) -> set[tuple[str, int]]:
    return {(entry["sheet"], entry["version"]) for entry in inputs.get("sheets", [])}
