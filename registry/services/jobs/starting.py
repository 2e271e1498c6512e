"""A job begins with a symptom; what is said of the vehicle can be put right later, by another event."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from registry.errors import RegistryError, refusal
from registry.models import Design, GearboxFamily, Job, JobEvent, User
from registry.models.jobs import JobAct, JobStep, JobSymptom
from registry.permissions import Actor, LinkHolder, require
from registry.selectors.designs import design_named
from registry.services.accounts import contributor_of
from registry.services.allowance import jobs_require
from registry.services.fields import Fields
from registry.services.jobs.events import event_add, job_locked
from registry.services.jobs.links import new_link
from registry.services.jobs.step_body import FARTHEST_KM, LONGEST_NOTE
from registry.translation import gettext as _

Plain = dict[str, Any]


@dataclass(frozen=True)
class JobMade:
    """token: of the private link, shown this once, where the job is nobody's account's; "" otherwise."""

    job: Job
    token: str = ""
    new: bool = True

    @property
    def holder(self) -> LinkHolder | None:
        """Who may work on it where no account has it."""
        return None if self.job.link_digest is None else LinkHolder(self.job.link_digest)


@dataclass(frozen=True)
class About:
    vehicle: str
    family: str
    design: Design | None
    distance_km: float | None
    symptom: str
    note: str

    @property
    def data(self) -> Plain:
        return {
            "symptom": self.symptom,
            "design": None if self.design is None else str(self.design.uuid),
            "distance_km": self.distance_km,
        }

    @property
    def private(self) -> Plain:
        return {"vehicle": self.vehicle, "family": self.family, "note": self.note}


def job_start(*, by: User | None, body: Any) -> JobMade:
    """Begin a job, of the account or, where there is none, of whoever keeps its link.

    body: symptom, and what is known of vehicle, family, design, distance_km, note; client_id: the same again
    gets the first job.  Raises RegistryErrors; PermissionDenied for a suspended account.
    """
    if by is not None:
        require(by, "submit")
    fields = Fields(body)
    client_id = fields.id("client_id")
    about = _about(fields)
    try:
        with transaction.atomic():
            return _store(by, about, client_id)
    except IntegrityError:  # the form was sent twice
        if client_id is None:
            raise
        return JobMade(_sent_before(by, client_id), new=False)


def _sent_before(by: User | None, client_id: UUID) -> Job:
    """One's own job of this id; somebody else's is told apart from it by nothing but the refusal."""
    job = Job.objects.select_related("contributor").get(client_id=client_id)
    if (None if job.contributor is None else job.contributor.user_id) != (None if by is None else by.pk):
        raise refusal(
            "client_id_used",
            _("This id was used before."),
            _("Send it under an id of its own."),
            field="/client_id",
        )
    return job


def _store(by: User | None, about: About, client_id: UUID | None) -> JobMade:
    known: Plain = {} if client_id is None else {"client_id": client_id}
    token, digest = ("", None) if by is not None else new_link()
    contributor = None if by is None else contributor_of(by)
    replayed = client_id is not None and Job.objects.filter(client_id=client_id).exists()
    if contributor is not None and not replayed:
        jobs_require(contributor)
    job = Job.objects.create(
        contributor=contributor,
        link_digest=digest,
        **known,
        **_columns(about),
    )
    event_add(
        job,
        by=by,
        step=JobStep.SYMPTOM,
        act=JobAct.DONE,
        data=about.data,
        private=about.private,
    )
    return JobMade(job, token)


@transaction.atomic
def job_about(*, by: Actor, job: Job, body: Any) -> JobEvent:
    """Put right what was said at the beginning; what the body leaves out stays."""
    job = job_locked(by, job)
    about = _about(Fields({**about_of(job), **(body if isinstance(body, dict) else {})}))
    if job.design is not None and about.design != job.design and job.job_sheets.exists():
        raise refusal(
            "design_settled",
            _("A unit of this job was read as {design} already.").format(design=job.design.name),
            _("Start another job for another switch."),
            field="/design",
        )
    for name, value in _columns(about).items():
        setattr(job, name, value)
    job.save()
    return event_add(
        job, by=by, step=JobStep.SYMPTOM, act=JobAct.DONE, data=about.data, private=about.private
    )


def about_of(job: Job) -> Plain:
    """What stands now, as a body."""
    return {
        "symptom": job.symptom,
        "vehicle": job.vehicle_label,
        "family": job.family_label,
        "design": None if job.design is None else str(job.design.uuid),
        "distance_km": job.distance_km,
    }


def _about(fields: Fields) -> About:
    symptom = fields.one_of("symptom", JobSymptom.values, "")
    if not symptom and not any(error.field == "/symptom" for error in fields.errors):
        fields.wrong("symptom", "value_missing", _("This is empty."), _("Say what the vehicle does."))
    about = About(
        vehicle=fields.text("vehicle", longest=120),
        family=fields.text("family", longest=120),
        design=_design(fields),
        distance_km=fields.number("distance_km", None, high=FARTHEST_KM),
        symptom=symptom,
        note=fields.text("note", longest=LONGEST_NOTE, lines=True),
    )
    fields.raise_all()
    return about


def _design(fields: Fields) -> Design | None:
    named = fields.text("design")
    if not named:
        return None
    try:
        return design_named(named)
    except RegistryError as error:
        fields.errors.append(error.at(field="/design"))
        return None


def _columns(about: About) -> Plain:
    family = GearboxFamily.objects.filter(name__iexact=about.family).first() if about.family else None
    if family is None and not about.family and about.design is not None:
        only = list(about.design.families.all()[:2])
        family = only[0] if len(only) == 1 else None
    return {
        "vehicle_label": about.vehicle,
        "family": family,
        "family_label": about.family or ("" if family is None else family.name),
        "design": about.design,
        "distance_km": about.distance_km,
        "symptom": about.symptom,
    }
