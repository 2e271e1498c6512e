"""What is public of the jobs around the switches, as rows of a package's tables: of all, or of one design."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from uuid import UUID

from registry.formats.package_job_tables import standing_row
from registry.models import Contributor, Design, FactAnswer, JobFact, Unit, UnitEvent, Workshop
from registry.selectors.facts import facts_of
from registry.selectors.outcomes import outcomes_public
from registry.selectors.unit_lives import fleet_workshops, unit_lives

Row = tuple[Any, ...]


class JobRows:
    """aside: contributors whose whole account is set aside."""

    def __init__(self, only: Design | None, aside: set[UUID]) -> None:
        self.only, self.aside = only, aside
        answers = FactAnswer.objects.filter(is_current=True).order_by("uuid")
        events = UnitEvent.objects.filter(withdrawn_at__isnull=True).order_by("uuid")
        if only is not None:
            answers, events = answers.filter(fact__design=only), events.filter(unit__design=only)
        self.answers = list(answers.select_related("fact", "contributor__workshop"))
        self.events = list(
            events.select_related(
                "contributor__workshop", "unit__design", "unit__contributor__workshop", "unit__part_number"
            )
        )

    def people(self) -> list[Contributor]:
        said = [answer.contributor for answer in self.answers]
        said += [event.contributor for event in self.events]
        return [*said, *(event.unit.contributor for event in self.events)]

    def facts_named(self) -> list[UUID]:
        return sorted({answer.fact.uuid for answer in self.answers})

    def table(self, name: str, people: list[Contributor]) -> Iterator[Row]:
        """people: all contributors of the package."""
        if name == "workshops":
            return _workshops(people)
        made: Callable[[], Iterator[Row]] = getattr(self, f"_{name}")
        return made()

    def _designs(self) -> list[Design]:
        if self.only is not None:
            return [self.only]
        return list(Design.objects.order_by("uuid"))

    def _facts(self) -> Iterator[Row]:
        facts = JobFact.objects.filter(answers__is_current=True).distinct().order_by("uuid")
        facts = facts if self.only is None else facts.filter(design=self.only)
        for one in facts.select_related("design"):
            yield str(one.uuid), one.origin, str(one.design.uuid), one.question, one.subject

    def _said(self, one: FactAnswer | UnitEvent, about: JobFact | Unit) -> Row:
        """What rows of answers and of events begin with."""
        who = one.contributor
        return str(one.uuid), one.origin, str(about.uuid), who.pseudonym, who.uuid not in self.aside

    def _fact_answers(self) -> Iterator[Row]:
        for one in self.answers:
            yield (*self._said(one, one.fact), one.answer, one.quantity, one.source)

    def _fact_standings(self) -> Iterator[Row]:
        found = {}
        answered = {answer.fact.design_id for answer in self.answers}
        for design in self._designs():
            if design.pk in answered:
                for line in facts_of(design):
                    if line.fact is not None:
                        found[str(line.fact.uuid)] = line.agreement
        for fact, said in sorted(found.items()):
            yield (fact, *standing_row(said))

    def _unit_events(self) -> Iterator[Row]:
        for one in self.events:
            distances = (one.distance_km, one.entered_km, one.good_km)
            yield (*self._said(one, one.unit), one.kind, *distances)

    def _lives(self) -> Iterator[Row]:
        for design in self._designs():
            if design.merged_into_id is None:
                for life in unit_lives(design):
                    yield str(design.uuid), life.unit, life.source_class, *life.row, life.cohort

    def _outcomes(self) -> Iterator[Row]:
        for design, symptom, origin, count in outcomes_public(self.only):
            yield str(design), symptom or "all", origin, count.checked, count.at_fault


def _workshops(people: list[Contributor]) -> Iterator[Row]:
    whole = fleet_workshops()
    shops: dict[str, Workshop] = {
        str(person.workshop.uuid): person.workshop for person in people if person.workshop is not None
    }
    for uuid, shop in sorted(shops.items()):
        yield uuid, shop.origin, shop.pk in whole
