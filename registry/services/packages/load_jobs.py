"""Facts, units over time and counted outcomes of a package, beside what is here; origins and ids stay."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from registry.formats.fact_questions import BY_CODE
from registry.formats.labels import loose_key
from registry.models import FactAnswer, FleetReport, JobFact, OutcomeCounted, UnitEvent, Workshop
from registry.models.base import own_origin
from registry.services.packages.load_sheets import SheetsLoaded

Plain = dict[str, Any]


class JobsLoaded:
    """What is public of the jobs; people and units are those of `sheets`.

    restoring: rows that name this registry as their origin are its own, come home; elsewhere they are copies
    of what is here and are left.  complete: what is not among the rows was taken back.
    """

    def __init__(self, sheets: SheetsLoaded, *, restoring: bool, complete: bool) -> None:
        self.sheets, self.restoring, self.complete = sheets, restoring, complete
        self.designs = list(sheets.designs.values())

    def load_workshops(self, rows: Iterable[Plain]) -> None:
        """A workshop that reports all of its units there does so here."""
        for row in rows:
            shop = Workshop.objects.filter(uuid=row["workshop"]).first()
            if shop is None or (shop.origin == own_origin() and not self.restoring):
                continue
            said = FleetReport.objects.filter(workshop=shop, ended_at=None)
            if row["reports_all"] and not said.exists():
                units = sum(unit.contributor.workshop_id == shop.pk for unit in self.sheets.units.values())
                FleetReport.objects.create(
                    workshop=shop, origin=row["origin"], units=max(units, 1), confirmed_at=timezone.now()
                )
            elif not row["reports_all"]:
                said.update(ended_at=timezone.now())

    def load_facts(self, facts: Iterable[Plain], answers: Iterable[Plain]) -> None:
        """A question that was asked of the design already, under whatever id, is the same question."""
        here = {row["fact"]: self._fact(row) for row in facts if row["question"] in BY_CODE}
        known = _by_uuid(FactAnswer.objects.filter(fact__in=list(here.values())))
        seen = set()
        for row in sorted(answers, key=lambda row: str(row["answer"])):
            fact, person = here.get(row["fact"]), self.sheets.people[row["contributor"]]
            if fact is None or not self._theirs(row["origin"]) or not row["counts"]:
                continue
            seen.add(row["answer"])
            answer = known.get(row["answer"])
            if answer is not None and answer.is_current:
                continue
            fact.answers.filter(contributor=person, is_current=True).update(is_current=False)
            if answer is not None:
                FactAnswer.objects.filter(pk=answer.pk).update(is_current=True)
                continue
            FactAnswer.objects.create(
                uuid=row["answer"],
                origin=row["origin"],
                fact=fact,
                contributor=person,
                answer=row["choice"],
                quantity=row["quantity"],
                source=row["source"],
            )
        if self.complete:
            gone = FactAnswer.objects.filter(fact__design__in=self.designs, is_current=True)
            self._taken_back(gone, seen).update(is_current=False)

    def _fact(self, row: Plain) -> JobFact:
        at = {"design": self.sheets.designs[row["design"]], "question": row["question"]}
        found, _made = JobFact.objects.get_or_create(
            **at,
            subject_key=loose_key(row["subject"]),
            defaults={"uuid": row["fact"], "origin": row["origin"], "subject": row["subject"]},
        )
        return found

    def load_events(self, rows: Iterable[Plain]) -> None:
        known = _by_uuid(UnitEvent.objects.filter(unit__in=list(self.sheets.units.values())))
        seen = set()
        for row in rows:
            if not self._theirs(row["origin"]) or not row["counts"]:
                continue
            seen.add(row["event"])
            event = known.get(row["event"])
            if event is None:
                figures = {name: row[name] for name in ("kind", "distance_km", "entered_km", "good_km")}
                UnitEvent.objects.create(
                    uuid=row["event"],
                    origin=row["origin"],
                    unit=self.sheets.units[row["unit"]],
                    contributor=self.sheets.people[row["contributor"]],
                    **figures,
                )
            elif event.withdrawn_at is not None:
                UnitEvent.objects.filter(pk=event.pk).update(withdrawn_at=None)
        if self.complete:
            gone = UnitEvent.objects.filter(unit__design__in=self.designs, withdrawn_at=None)
            self._taken_back(gone, seen).update(withdrawn_at=timezone.now())

    def load_outcomes(self, rows: Iterable[Plain]) -> None:
        """Counts as they are told now; one that is told no more is gone."""
        kept = []
        for row in rows:
            if not self._theirs(row["origin"]):
                continue
            counted, _made = OutcomeCounted.objects.update_or_create(
                design=self.sheets.designs[row["design"]],
                symptom="" if row["symptom"] == "all" else row["symptom"],
                origin=row["origin"],
                defaults={"checked": row["checked"], "at_fault": row["at_fault"]},
            )
            kept.append(counted.pk)
        if self.complete:
            gone = OutcomeCounted.objects.filter(design__in=self.designs).exclude(pk__in=kept)
            self._of_theirs(gone).delete()

    def _theirs(self, origin: str) -> bool:
        return self.restoring or origin != own_origin()

    def _of_theirs(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        """Of registries whose word on taking back counts."""
        rows = rows.exclude(origin=own_origin())
        return rows if self.sheets.of is None else rows.filter(origin__in=sorted(self.sheets.of))

    def _taken_back(self, rows: QuerySet[Any], seen: set[str]) -> QuerySet[Any]:
        gone = [pk for pk, uuid in self._of_theirs(rows).values_list("pk", "uuid") if str(uuid) not in seen]
        return rows.filter(pk__in=gone)


def load_jobs(source: Any, sheets: SheetsLoaded, *, restoring: bool, complete: bool) -> None:
    """All tables of the jobs; a package that is older than they are has none, and takes nothing back."""
    jobs = JobsLoaded(sheets, restoring=restoring, complete=complete and source.has("facts"))
    jobs.load_workshops(source.rows("workshops"))
    jobs.load_facts(source.rows("facts"), source.rows("fact_answers"))
    jobs.load_events(source.rows("unit_events"))
    jobs.load_outcomes(source.rows("outcomes"))


def _by_uuid(rows: QuerySet[Any]) -> dict[str, Any]:
    return {str(row.uuid): row for row in rows}
