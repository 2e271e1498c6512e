"""After fitting: the starter answers in the start positions and in no other, the display follows, no codes.

A start in any other position stops the job: it is written down at once, whatever else is missing, and
neither skipping nor closing gets past it until every position has been tried again and passed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.errors import refusal
from registry.models import Job, JobEvent
from registry.models.jobs import JobAct, JobStep
from registry.permissions import Actor
from registry.selectors.jobs import starts_of, step_states
from registry.services.fields import Fields
from registry.services.jobs.events import event_add, job_locked
from registry.services.jobs.step_body import LONGEST_NOTE
from registry.translation import gettext as _

Plain = dict[str, Any]
READY = ("stationary", "chocked", "clear", "seat")
STARTER, SHOWN, CODES = ("turned", "silent"), ("yes", "no"), ("none", "stored")


@dataclass(frozen=True)
class Try:
    """One position: what the starter did, whether the display agreed out and back; "" not tried."""

    starter: str = ""
    shown_out: str = ""
    shown_back: str = ""


@dataclass(frozen=True)
class Verdict:
    """Labels of positions by what is wrong with them."""

    starts_elsewhere: tuple[str, ...]
    silent: tuple[str, ...]
    shown_wrong: tuple[str, ...]
    untried: tuple[str, ...]
    codes: str

    @property
    def act(self) -> str:
        if self.starts_elsewhere:
            return JobAct.STOPPED
        clean = not (self.silent or self.shown_wrong or self.untried) and self.codes == "none"
        return JobAct.DONE if clean else JobAct.TRIED


def judged(positions: Sequence[str], starts: frozenset[str], tries: Mapping[str, Try], codes: str) -> Verdict:
    """positions: labels in detent order; starts: those that may release the starter."""
    found = {label: tries.get(label, Try()) for label in positions}
    return Verdict(
        starts_elsewhere=tuple(p for p, t in found.items() if t.starter == "turned" and p not in starts),
        silent=tuple(p for p, t in found.items() if t.starter == "silent" and p in starts),
        shown_wrong=tuple(p for p, t in found.items() if "no" in (t.shown_out, t.shown_back)),
        untried=tuple(p for p, t in found.items() if not (t.starter and t.shown_out and t.shown_back)),
        codes=codes,
    )


@transaction.atomic
def job_verify(*, by: Actor, job: Job, body: Any) -> JobEvent:
    """Write down a check after fitting; the event's act says whether it passed, did not, or stops the job.

    body: ready (of READY), positions [{position, starter, shown_out, shown_back}], codes, start_positions
    where the design doesn't name them.  A start elsewhere is taken as it is; of the rest RegistryErrors
    names all that is missing.
    """
    job = job_locked(by, job)
    if job.design is None:
        raise refusal(
            "design_needed",
            _("Which switch it is has not been settled yet."),
            _("Settle it first: its start positions say where the starter may answer."),
        )
    if not step_states(job.events.all())[JobStep.FITTED].settled:
        raise refusal(
            "step_open",
            _("Step “{step}” is open.").format(step=JobStep.FITTED.value),
            _("Do it, or skip it with a reason."),
            field="/steps",
        )
    fields = Fields({} if body is None else body)
    labels = [position.label for position in job.design.positions.all()]
    tries = _tries(fields, labels)
    starts = _starts(fields, job, labels)
    codes = fields.one_of("codes", CODES, "")
    note = fields.text("note", longest=LONGEST_NOTE, lines=True)
    verdict = judged(labels, starts, tries, codes)
    if verdict.act != JobAct.STOPPED:
        _complain(fields, verdict)
    fields.raise_all()
    return _written(by, job, verdict, tries, starts, note)


def _written(
    by: Actor, job: Job, verdict: Verdict, tries: Mapping[str, Try], starts: frozenset[str], note: str
) -> JobEvent:
    assert job.design is not None
    passed = verdict.act == JobAct.DONE
    job.stopped = verdict.act == JobAct.STOPPED or (job.stopped and not passed)
    job.verified_at = timezone.now() if passed else None
    job.save(update_fields=["stopped", "verified_at"])
    data = {
        "positions": [{"position": label, **tried.__dict__} for label, tried in tries.items()],
        "start_positions": [p.label for p in job.design.positions.all() if p.label in starts],
        "codes": verdict.codes,
        "starts_elsewhere": list(verdict.starts_elsewhere),
        "silent": list(verdict.silent),
        "shown_wrong": list(verdict.shown_wrong),
    }
    return event_add(job, by=by, step=JobStep.VERIFIED, act=verdict.act, data=data, private={"note": note})


def _tries(fields: Fields, labels: Sequence[str]) -> dict[str, Try]:
    tries: dict[str, Try] = {}
    for row in fields.rows("positions", most=100):
        label = row.text("position", longest=40, needed=True)
        if label and label not in labels:
            row.wrong(
                "position",
                "position_unknown",
                _("There is no position “{label}” in this design.").format(label=label[:40]),
                _("Its positions are {known}.").format(known=", ".join(labels)),
            )
            continue
        tries[label] = Try(
            row.one_of("starter", STARTER, ""),
            row.one_of("shown_out", SHOWN, ""),
            row.one_of("shown_back", SHOWN, ""),
        )
    return {label: tries[label] for label in labels if label in tries}


def _starts(fields: Fields, job: Job, labels: Sequence[str]) -> frozenset[str]:
    """Of the design; where it doesn't say, as the maker's procedure does."""
    known = starts_of(job)
    if known is not None:
        return known
    named = fields.body.get("start_positions")
    named = [str(label) for label in named] if isinstance(named, list) else []
    if not named or not set(named) <= set(labels):
        fields.wrong(
            "start_positions",
            "value_missing",
            _("The start positions of this design are not known here."),
            _("Name those where the maker's procedure lets the starter answer."),
        )
    return frozenset(named) & frozenset(labels)


def _complain(fields: Fields, verdict: Verdict) -> None:
    """What a check needs before it counts as one."""
    ready = fields.body.get("ready")
    ready = [str(word) for word in ready] if isinstance(ready, list) else []
    for word in READY:
        if word not in ready:
            fields.wrong(
                "ready",
                "not_ready",
                _("“{word}” is not said.").format(word=word),
                _("Don't touch the key before all four are so."),
            )
    if verdict.untried:
        fields.wrong(
            "positions",
            "position_untried",
            _("Not all was tried: {positions}.").format(positions=", ".join(verdict.untried)),
            _("Try the starter and read the display in every position, out and back."),
        )
    if not verdict.codes:
        fields.wrong("codes", "value_missing", _("This is empty."), _("Say whether a code is stored."))
