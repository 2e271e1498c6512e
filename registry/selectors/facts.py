"""The preparation list of a design: each fact with its answer, how sure it is, and who may still say."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from registry.bridge.facts import AnswerRow, choice_agreements, quantity_agreement
from registry.formats.fact_questions import BY_CODE, QUESTIONS, Question
from registry.formats.labels import loose_key
from registry.models import Contributor, Decision, Design, Dispute, FactAnswer, JobFact, Target

MOST_ELSEWHERE = 5000  # answers to other facts by which the reliability of these contributors is learned
SOMETHING_ELSE = ""  # of an open question: what nobody has said yet

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


def answers_aside(facts: Iterable[UUID]) -> set[str]:
    """Answers that a decision in force has set aside."""
    decisions = Decision.objects.filter(
        target_kind=Target.FACT, target_uuid__in=list(facts), kind=Decision.Kind.SET_ASIDE,
        state=Decision.State.IN_FORCE,
    )  # fmt: skip
    return {str(payload.get("answer")) for payload in decisions.values_list("payload", flat=True)}


def answer_key(question: Question, text: str) -> str:
    """One key for an open answer however it is spaced and spelled in capitals."""
    return loose_key(text) if question.kind == "words" else text


def _counting(facts: Sequence[JobFact]) -> list[FactAnswer]:
    found = FactAnswer.objects.filter(fact__in=facts, is_current=True).select_related("contributor")
    aside = answers_aside(fact.uuid for fact in facts)
    return [answer for answer in found if str(answer.uuid) not in aside]


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
    here = {fact.pk: fact for fact in facts}
    found = {}
    choices = [fact for fact in facts if BY_CODE[fact.question].kind != "quantity"]
    if choices:
        elsewhere = _elsewhere({answer.contributor_id for answer in counting}, list(here))
        told = [answer for answer in counting if BY_CODE[here[answer.fact_id].question].kind != "quantity"]
        found = _choices(choices, told, elsewhere, disputed)
    for fact in facts:
        if fact.pk not in found:
            rows = [_row(answer, fact) for answer in counting if answer.fact_id == fact.pk]
            found[fact.pk] = quantity_agreement(rows, fact.uuid in disputed)
    return found


def _elsewhere(contributors: set[int], facts: Sequence[int]) -> list[FactAnswer]:
    """Their answers to facts of other designs, and the answers of all others to the same facts."""
    asked = JobFact.objects.filter(
        answers__contributor__in=contributors, answers__is_current=True, answers__quantity=None
    ).exclude(pk__in=facts)
    answers = FactAnswer.objects.filter(Q(fact__in=asked), is_current=True, quantity=None)
    return list(answers.select_related("fact", "contributor").order_by("-pk")[:MOST_ELSEWHERE])


def _choices(
    facts: Sequence[JobFact],
    told: Sequence[FactAnswer],
    elsewhere: Sequence[FactAnswer],
    disputed: set[UUID],
) -> dict[int, Plain]:
    known = {fact.pk: fact for fact in facts} | {answer.fact_id: answer.fact for answer in elsewhere}
    rows = [_row(answer, known[answer.fact_id]) for answer in (*told, *elsewhere)]
    given: dict[int, dict[str, None]] = defaultdict(dict)
    for row in rows:
        given[row.fact][row.answer] = None
    codes = {}
    for pk, fact in known.items():
        question = BY_CODE[fact.question]
        listed = [code for code, _words in question.choices]
        codes[pk] = listed or [*given[pk], SOMETHING_ELSE]
    return choice_agreements(rows, codes, {pk for pk, fact in known.items() if fact.uuid in disputed})


def _row(answer: FactAnswer, fact: JobFact) -> AnswerRow:
    person = answer.contributor
    voice = f"w{person.workshop_id}" if person.workshop_id else f"c{person.pk}"
    key = answer_key(BY_CODE[fact.question], answer.answer)
    return AnswerRow(fact.pk, person.pk, voice, key, answer.quantity)


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
