"""Which switch is this?  A design that readings found becomes the job's, and the readings go with it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db import transaction

from registry.errors import refusal
from registry.models import Design, Job, JobEvent
from registry.models.jobs import JobAct, JobStep
from registry.permissions import Actor
from registry.selectors.labels import DesignLabels
from registry.services.jobs.events import event_add, job_locked
from registry.translation import gettext as _

Plain = dict[str, Any]
Row = dict[str, str]


@transaction.atomic
def job_settle_design(
    *,
    by: Actor,
    job: Job,
    design: UUID,
    readings: list[Row] | None = None,
    pins: dict[str, str] | None = None,
) -> JobEvent:
    """readings: as they were read, in labels of their own; pins: pin as read → pin of the design."""
    job = job_locked(by, job)
    chosen = Design.objects.filter(uuid=design).first()
    if chosen is None:
        raise refusal(
            "design_unknown",
            _("There is no design “{text}”.").format(text=str(design)),
            _("Search for it, or propose it as a new design."),
            field="/design",
        )
    if job.design_id not in (None, chosen.pk) and job.job_sheets.exists():
        raise refusal(
            "design_settled",
            _("A unit of this job was read already."),
            _("Start another job for another switch."),
            field="/design",
        )
    job.design = chosen
    job.save(update_fields=["design"])
    data = {"design": str(chosen.uuid), "readings": moved(chosen, readings or [], pins or {})}
    return event_add(job, by=by, step=JobStep.SYMPTOM, act=JobAct.DESIGN_SETTLED, data=data)


def moved(design: Design, readings: list[Row], pins: dict[str, str]) -> list[Row]:
    """The readings under the design's labels; what has no place there is left out, to be read again.

    Positions keep their names where the design knows them, else their order where there are as many.
    """
    labels = DesignLabels(design)
    order = list(dict.fromkeys(row["position"] for row in readings))
    own = [position.label for position in design.positions.order_by("step")]
    by_order = dict(zip(order, own, strict=True)) if len(order) == len(own) else {}
    known = all(label in labels.positions for label in order)
    rows = []
    for row in readings:
        position = labels.positions[row["position"]].label if known else by_order.get(row["position"])
        ends = [pins.get(row[name], row[name]) for name in ("pin", "against")]
        if position is not None and all(end in labels.pins for end in ends) and ends[0] != ends[1]:
            rows.append({"position": position, "pin": ends[0], "against": ends[1], "reading": row["reading"]})
    return rows
