"""Facts about the job around a switch: answered, answered anew, taken back.  Nothing is overwritten."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.errors import refusal
from registry.formats.fact_questions import BY_CODE, Question
from registry.formats.labels import loose_key
from registry.models import Contributor, Design, FactAnswer, JobFact, User
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.allowance import seconds_until_older, sheet_allowance
from registry.services.audit import record
from registry.services.fields import Fields
from registry.translation import gettext as _

ANSWERS_A_SHEET = 10  # as many answers a day for each sheet that the account may send
DAY = timedelta(days=1)


@transaction.atomic
def fact_answer(*, by: User, design: Design, body: Any) -> FactAnswer:
    """Answer a question about the job.

    body: {"question", "subject", "answer" or "quantity", "source", "note"}.

    The same answer again changes nothing; another takes the place of one's earlier one, which stays to be
    seen.  Raises RegistryErrors with every fault of the body; PermissionDenied.
    """
    require(by, "submit")
    contributor = contributor_of(by)
    fields = Fields(body)
    question = BY_CODE.get(fields.one_of("question", BY_CODE, ""))
    if question is None:
        if not fields.errors:
            fields.wrong("question", "value_missing", _("This is empty."), _("Name the question."))
        fields.raise_all()
        raise AssertionError("unreachable")
    subject = fields.text("subject", longest=80, needed=bool(question.subject)) if question.subject else ""
    answer, quantity = _answer(fields, question)
    source = fields.one_of("source", FactAnswer.Source.values, "")
    if not source and not any(error.field == "/source" for error in fields.errors):
        fields.wrong("source", "value_missing", _("This is empty."), _("Say how you know."))
    note = fields.text("note", longest=300)
    fields.raise_all()
    _allow(contributor)
    fact, _made = JobFact.objects.select_for_update(no_key=True).get_or_create(
        design=design, question=question.code, subject_key=loose_key(subject),
        defaults={"subject": subject},
    )  # fmt: skip
    earlier = fact.answers.filter(contributor=contributor, is_current=True).first()
    told = {"answer": answer, "quantity": quantity, "source": source, "note": note}
    if earlier is not None and all(getattr(earlier, name) == value for name, value in told.items()):
        return earlier
    fact.answers.filter(contributor=contributor, is_current=True).update(is_current=False)
    made = FactAnswer.objects.create(fact=fact, contributor=contributor, **told)
    record(by=by, action="fact_answer", target_kind="fact", target_uuid=fact.uuid, answer=str(made.uuid))
    return made


def _answer(fields: Fields, question: Question) -> tuple[str, float | None]:
    if question.kind == "quantity":
        quantity = fields.number("quantity", None, low=1e-6, high=question.largest)
        if quantity is None and not any(error.field == "/quantity" for error in fields.errors):
            fields.wrong("quantity", "value_missing", _("This is empty."), _("Give a number."))
        return "", quantity
    if question.kind == "words":
        return fields.text("answer", longest=80, needed=True), None
    answer = fields.one_of("answer", [code for code, _words in question.choices], "")
    if not answer and not any(error.field == "/answer" for error in fields.errors):
        fields.wrong("answer", "value_missing", _("This is empty."), _("Choose an answer."))
    return answer, None


def _allow(contributor: Contributor) -> None:
    a_day = sheet_allowance(contributor).a_day
    if a_day is None:
        return
    answered = contributor.fact_answers.filter(created_at__gt=timezone.now() - DAY)
    told = answered.count()
    if told >= a_day * ANSWERS_A_SHEET:
        raise refusal(
            "allowance_used",
            _("This account has answered as much as it may in a day."),
            _("Go on tomorrow: the number grows with the account's age."),
            wait=seconds_until_older(
                answered.values_list("created_at", flat=True), told - a_day * ANSWERS_A_SHEET + 1
            ),
        )


@transaction.atomic
def fact_take_back(*, by: User, fact: JobFact) -> None:
    """One's own answer counts no more; it stays to be seen."""
    require(by, "submit")
    taken = fact.answers.filter(contributor__user=by, is_current=True).update(is_current=False)
    if taken:
        record(by=by, action="fact_take_back", target_kind="fact", target_uuid=fact.uuid)
