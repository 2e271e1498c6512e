"""Decisions about facts: an answer is set aside, laid over the answers, which stay as they were given."""

from __future__ import annotations

from registry.errors import refuse
from registry.models import Decision, JobFact
from registry.services.effects.base import target_row
from registry.translation import gettext as _


def check_answer(decision: Decision) -> None:
    fact = target_row(JobFact, decision)
    named = str(decision.payload.get("answer", ""))
    if named not in {str(uuid) for uuid in fact.answers.values_list("uuid", flat=True)}:
        refuse("/payload/answer", "answer_unknown", _("Name the answer that is set aside."))
