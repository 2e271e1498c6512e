"""The job around the switch, from a dead vehicle to a verified repair.

A job is private to its account, or to whoever has its link.  Everything that was done in it is an appended
event; the columns of the job itself only say what its events came to.
"""

from __future__ import annotations

import uuid

from django.db import models

from registry.models.base import PublicObject, one_of
from registry.models.catalogue import Design, GearboxFamily
from registry.models.charts import ChartRevision
from registry.models.people import Contributor, User
from registry.models.sheets import Sheet, Unit


class JobSymptom(models.TextChoices):
    SILENT = "silent"
    NEUTRAL_ONLY = "neutral_only"
    DISPLAY = "display"
    COMES_AND_GOES = "comes_and_goes"


class JobStep(models.TextChoices):
    """In the order of work."""

    SYMPTOM = "symptom"
    RULED_OUT = "ruled_out"
    PREPARED = "prepared"
    REMOVED = "removed"
    SUSPECT_BENCHED = "suspect_benched"
    NEW_BENCHED = "new_benched"
    FITTED = "fitted"
    VERIFIED = "verified"
    CLOSED = "closed"


class JobAct(models.TextChoices):
    """What an event says of its step; the newest of the first five is the step's state."""

    DONE = "done"
    SKIPPED = "skipped"
    TRIED = "tried"  # the check after fitting did not pass
    STOPPED = "stopped"  # it found a start where none may be: no driving
    REOPENED = "reopened"
    STARTED = "started"
    DESIGN_SETTLED = "design_settled"
    CHECKED = "checked"  # the suspect against a revision of the chart
    PICTURE = "picture"
    PICTURE_REMOVED = "picture_removed"
    SENT = "sent"  # something of the job went to the registry
    TAKEN_BACK = "taken_back"
    LINK_MADE = "link_made"
    LINK_WITHDRAWN = "link_withdrawn"
    TAKEN_OVER = "taken_over"  # from a link into an account


class JobOutcome(models.TextChoices):
    WENT = "went"  # fitted a new unit and the symptom went
    STAYED = "stayed"  # fitted a new unit and the symptom stayed
    SOMETHING_ELSE = "something_else"


class Job(PublicObject):
    """contributor: whose account it is of, None while only a link leads to it; link_digest: of that link.

    vehicle_label: free, a fleet number; it names a vehicle to its own people only and leaves by no way.
    """

    Symptom = JobSymptom
    Outcome = JobOutcome

    contributor = models.ForeignKey(
        Contributor, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )
    client_id = models.UUIDField(default=uuid.uuid4, unique=True)  # a form sent twice makes one job
    link_digest = models.CharField(max_length=64, null=True, blank=True, unique=True)
    vehicle_label = models.CharField(max_length=120, blank=True, default="")
    vehicle = models.ForeignKey(  # of the fleet that the account works in; None: a label alone
        "registry.Vehicle", null=True, blank=True, on_delete=models.SET_NULL, related_name="jobs"
    )
    family = models.ForeignKey(
        GearboxFamily, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    family_label = models.CharField(max_length=120, blank=True, default="")  # as typed
    design = models.ForeignKey(
        Design, null=True, blank=True, on_delete=models.PROTECT, related_name="jobs"
    )  # None: not known yet
    distance_km = models.FloatField(null=True, blank=True)  # of the vehicle when the job began
    symptom = models.CharField(max_length=16, choices=JobSymptom)
    old_unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    new_unit = models.ForeignKey(Unit, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    old_unit_km = models.FloatField(null=True, blank=True)  # distance on the old unit when it came out
    stopped = models.BooleanField(default=False)  # a start where none may be, not yet put right
    outcome = models.CharField(max_length=16, choices=JobOutcome, blank=True, default="")
    outcome_sent_at = models.DateTimeField(null=True, blank=True)  # given to the registry for its counts
    verified_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            one_of("symptom", JobSymptom, "job_symptom_known"),
            models.CheckConstraint(
                condition=models.Q(outcome__in=["", *JobOutcome.values]), name="job_outcome_known"
            ),
            models.CheckConstraint(
                condition=models.Q(outcome_sent_at__isnull=True) | ~models.Q(outcome=""),
                name="job_sends_an_outcome_it_has",
            ),
            models.CheckConstraint(
                condition=models.Q(distance_km__isnull=True) | models.Q(distance_km__gte=0),
                name="job_distance_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(old_unit_km__isnull=True) | models.Q(old_unit_km__gte=0),
                name="job_old_unit_distance_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(stopped=False) | models.Q(verified_at__isnull=True),
                name="job_stopped_is_not_verified",
            ),
        ]

    def __str__(self) -> str:
        return f"job {self.pk}"  # never the vehicle: it would end up in logs


class JobEvent(models.Model):
    """Something done in a job; never changed.  A correction is a new event that names the one it corrects.

    data: codes, ids and figures; private: free words, emptied when the account is erased.
    """

    Step = JobStep
    Act = JobAct

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="events")
    number = models.PositiveIntegerField()
    step = models.CharField(max_length=16, choices=JobStep)
    act = models.CharField(max_length=16, choices=JobAct)
    data = models.JSONField(default=dict, blank=True)
    private = models.JSONField(default=dict, blank=True)
    corrects = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    made_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="job_event_number_once"),
            one_of("step", JobStep, "job_event_step_known"),
            one_of("act", JobAct, "job_event_act_known"),
        ]

    def __str__(self) -> str:
        return f"{self.act} {self.step} in job {self.job_id}"


class JobUnit(models.TextChoices):
    OLD = "old"  # the suspect
    NEW = "new"


class JobSheet(models.Model):
    """A bench sheet of the job's old or new unit as it was entered; the newest of each unit counts.

    body: as for `sheet_submit`; sheet: where it is kept in the registry, None while only the job has it.
    """

    Of = JobUnit

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="job_sheets")
    of = models.CharField(max_length=3, choices=JobUnit)
    body = models.JSONField()
    sheet = models.ForeignKey(Sheet, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [one_of("of", JobUnit, "job_sheet_of_known")]

    def __str__(self) -> str:
        return f"sheet of the {self.of} unit in job {self.job_id}"


class JobCheck(models.Model):
    """What the check said of a job's sheet, and the revision of the chart that it was held against."""

    job_sheet = models.ForeignKey(JobSheet, on_delete=models.PROTECT, related_name="checks")
    revision = models.ForeignKey(ChartRevision, on_delete=models.PROTECT, related_name="+")
    verdict = models.CharField(max_length=10)
    p_good = models.FloatField()
    result = models.JSONField()  # the object of `checks`; sentences are made when shown
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(verdict__in=["good", "faulty", "undecided"]), name="job_verdict_known"
            ),
            models.CheckConstraint(condition=models.Q(p_good__gte=0, p_good__lte=1), name="job_p_is_a_share"),
        ]

    def __str__(self) -> str:
        return self.verdict


class JobPicture(PublicObject):
    """A picture at a step, for the job's own people alone; re-encoded like those of a sheet."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="pictures")
    step = models.CharField(max_length=16, choices=JobStep)
    image = models.ImageField(upload_to="jobs/")
    order = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["order"]
        constraints = [
            models.UniqueConstraint(fields=["job", "order"], name="job_picture_order_once"),
            one_of("step", JobStep, "job_picture_step_known"),
        ]

    def __str__(self) -> str:
        return f"picture {self.order} of job {self.job_id}"


class UnitEventKind(models.TextChoices):
    FITTED = "fitted"  # new, at a distance of 0 on it
    GOOD = "good"  # known to be good at this distance: right-censored so far
    FAILED = "failed"
    OUT_GOOD = "out_good"  # taken out though good


class UnitEvent(PublicObject):
    """What became of a unit at a distance on it, told by its contributor: the raw matter of service life.

    entered_km: where it came under observation (left truncation); good_km: the longest distance at which it
    was known to be good, below `distance_km` of a failure that happened somewhere between.
    """

    Kind = UnitEventKind

    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="events")
    contributor = models.ForeignKey(Contributor, on_delete=models.PROTECT, related_name="unit_events")
    kind = models.CharField(max_length=8, choices=UnitEventKind)
    distance_km = models.FloatField(null=True, blank=True)  # on the unit; None: not known
    entered_km = models.FloatField(default=0.0)
    good_km = models.FloatField(null=True, blank=True)
    happened_on = models.DateField(null=True, blank=True)
    sheet = models.ForeignKey(Sheet, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.PROTECT, related_name="unit_events")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            one_of("kind", UnitEventKind, "unit_event_kind_known"),
            models.UniqueConstraint(
                fields=["job", "unit", "kind"],
                condition=models.Q(withdrawn_at__isnull=True),
                name="unit_event_once_a_job",
            ),
            models.CheckConstraint(
                condition=models.Q(distance_km__isnull=True) | models.Q(distance_km__gte=0),
                name="unit_event_distance_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(good_km__isnull=True)
                | models.Q(good_km__gte=0, good_km__lte=models.F("distance_km")),
                name="unit_event_good_before_failure",
            ),
            models.CheckConstraint(condition=models.Q(entered_km__gte=0), name="unit_event_entered"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"
