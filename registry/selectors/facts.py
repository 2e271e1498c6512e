"""The preparation list of a design: each fact with its answer, how sure it is, and who may still say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from registry.bridge.facts import MOST_ELSEWHERE, AnswerRow, FactRow, fact_agreements
from registry.formats.fact_questions import BY_CODE, QUESTIONS, Question, answer_key
from registry.models import Contributor, Decision, Design, Dispute, FactAnswer, JobFact, Target

Plain = dict[str, Any]


@dataclass(frozen=True)
class FactLine:
    """fact None: nobody answered yet.  agreement: as the bridge gives it; words: the answer in words."""

    question: Question
    fact: JobFact | None = None
    agreement: Plain = field(default_factory=lambda: {"standing": "unread", "voices": 0})
    words: str = ""
    disputed: bool = False
    others: tuple[tuple[str, int], ...] = ()  # what else was answered, and by how many
    mine: FactAnswer | None = None


def facts_of(design: Design, contributor: Contributor | None = None) -> list[FactLine]:
    """Every question in order of work; those with a subject once for each subject that was named."""
    facts = list(JobFact.objects.filter(design=design, answers__is_current=True).distinct())
    counting = _counting(facts)
    disputed = _disputed(facts)
    agreements = _agreements(facts, counting, disputed)
    lines = []
    for question in QUESTIONS:
        asked = [fact for fact in facts if fact.question == question.code]
        if not asked and not question.subject:
            lines.append(FactLine(question))
        for fact in asked:
            here = [answer for answer in counting if answer.fact_id == fact.pk]
            lines.append(_line(question, fact, here, agreements[fact.pk], fact.uuid in disputed, contributor))
    return lines


def fact_line(fact: JobFact) -> FactLine:
    """One fact, for its case at the desk."""
    found = (line for line in facts_of(fact.design) if line.fact == fact)
    return next(found, FactLine(BY_CODE[fact.question], fact))


def answers_of(fact: JobFact) -> QuerySet[FactAnswer]:
    return fact.answers.filter(is_current=True).select_related("contributor__workshop")


def _counted() -> QuerySet[FactAnswer]:
    """Last words, but for those that a decision set aside, alone or with all of an account."""
    aside = Decision.objects.filter(
        target_kind=Target.FACT, kind=Decision.Kind.SET_ASIDE, state=Decision.State.IN_FORCE
    ).values_list("payload", flat=True)
    accounts = Decision.objects.filter(
        kind=Decision.Kind.SET_ASIDE_ACCOUNT, state=Decision.State.IN_FORCE
    ).values("target_uuid")
    answers = FactAnswer.objects.filter(is_current=True).exclude(contributor__uuid__in=accounts)
    return answers.exclude(uuid__in=[uuid for payload in aside if (uuid := _named(payload)) is not None])


def _named(payload: Plain) -> UUID | None:
    try:
        return UUID(str(payload.get("answer")))
    except ValueError:  # of a package that says so
        return None


def _counting(facts: Sequence[JobFact]) -> list[FactAnswer]:
    return list(_counted().filter(fact__in=facts).select_related("fact", "contributor__workshop"))


def _disputed(facts: Sequence[JobFact]) -> set[UUID]:
    return set(
        Dispute.objects.filter(
            target_kind=Target.FACT,
            target_uuid__in=[fact.uuid for fact in facts],
            state=Dispute.State.OPEN,
        ).values_list("target_uuid", flat=True)
    )


def _agreements(
    facts: Sequence[JobFact], counting: Sequence[FactAnswer], disputed: set[UUID]
) -> dict[int, Plain]:
    told = [answer for answer in counting if answer.quantity is None]
    elsewhere = _elsewhere({answer.contributor_id for answer in told}, [fact.pk for fact in facts])
    others = {answer.fact_id: answer.fact for answer in elsewhere}
    there = _disputed(list(others.values()))
    found = fact_agreements(
        [_fact_row(fact, fact.uuid in disputed) for fact in facts],
        [*map(_answer_row, counting), *map(_answer_row, elsewhere)],
        {str(fact.uuid): _fact_row(fact, fact.uuid in there) for fact in others.values()},
    )
    return {fact.pk: found[str(fact.uuid)] for fact in facts}


def _elsewhere(contributors: set[int], facts: Sequence[int]) -> list[FactAnswer]:
    """Their answers to facts of other designs, and the answers of all others to the same facts."""
    if not contributors:
        return []
    theirs = _counted().filter(contributor__in=contributors, quantity=None).exclude(fact__in=facts)
    answers = _counted().filter(fact__in=theirs.order_by().values("fact"), quantity=None)
    return list(answers.select_related("fact", "contributor__workshop").order_by("uuid")[:MOST_ELSEWHERE])


def _fact_row(fact: JobFact, disputed: bool) -> FactRow:
    question = BY_CODE[fact.question]
    return FactRow(str(fact.uuid), question.kind, question.codes, disputed)


def _answer_row(answer: FactAnswer) -> AnswerRow:
    person, fact = answer.contributor, answer.fact
    voice = person.pseudonym if person.workshop is None else str(person.workshop.uuid)
    key = answer_key(BY_CODE[fact.question], answer.answer)
    return AnswerRow(str(fact.uuid), person.pseudonym, voice, key, answer.quantity)


def _line(
    question: Question,
    fact: JobFact,
    here: Sequence[FactAnswer],
    agreement: Plain,
    disputed: bool,
    contributor: Contributor | None,
) -> FactLine:
    as_typed = {answer_key(question, answer.answer): answer.answer for answer in reversed(here)}
    best = agreement.get("answer")
    counts = Counter(answer_key(question, answer.answer) for answer in here)
    others = tuple(
        (question.choice_words(as_typed[key]), n) for key, n in counts.most_common() if key not in (best, "")
    )
    return FactLine(
        question=question,
        fact=fact,
        agreement=agreement,
        words="" if best is None else question.choice_words(as_typed.get(best, best)),
        disputed=disputed,
        others=others,
        mine=next((a for a in here if contributor is not None and a.contributor_id == contributor.pk), None),
    )
