"""The report of a job as its people may print it, from a page or by program."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from registry.formats.causes import verdict_message
from registry.formats.cautions import caution_lines
from registry.formats.figures import distance_text
from registry.formats.job_report import JobReport, ReportCell, report_pdf
from registry.formats.job_words import (
    act_text,
    checks_text,
    outcome_text,
    prepared_text,
    step_text,
    symptom_text,
    verified_text,
)
from registry.models import Job, JobCheck
from registry.models.jobs import JobAct, JobStep
from registry.permissions import Actor, require
from registry.selectors.job_report import place_of, report_content
from registry.selectors.jobs import StepState, step_states
from registry.translation import gettext as _

Plain = dict[str, Any]


def job_report_pdf(*, by: Actor, job: Job, unit: str = "km") -> bytes:
    """unit: of distances, "km" or "mi"."""
    require(by, "work_on_job", job)
    content = report_content(job)
    columns, rows = _table(content)
    return report_pdf(
        JobReport(
            title=_("Job report: {name}").format(name=job.vehicle_label or job.uuid.hex[:8]),
            facts=_facts(job, unit),
            verdicts=_verdicts(content),
            pattern=_pattern(content),
            columns=columns,
            rows=rows,
            steps=[_step(state) for state in step_states(job.events.all()).values()],
            cautions=caution_lines("after", "check"),
            printed=_("Printed {day}. Evidence, never a certificate.").format(
                day=timezone.localdate().isoformat()
            ),
            stop=_("STOP. The starter answered where it may not. Don't drive; find out why.")
            if job.stopped
            else "",
        )
    )


def says_of(state: StepState) -> str:
    """What was said at a step, in a line."""
    if state.event is None or not state.act:
        return ""
    data, private = state.event.data, state.event.private
    if state.act == JobAct.SKIPPED:
        return str(private.get("reason", ""))
    text = ""
    if state.step == JobStep.VERIFIED:
        text = verified_text(data)
    elif state.step == JobStep.CLOSED:
        text = outcome_text(data.get("outcome", ""))
    elif state.step == JobStep.RULED_OUT:
        text = checks_text(len(data.get("checks", {})))
    elif state.step == JobStep.PREPARED:
        text = "; ".join(prepared_text(word) for word in data.get("ready", []))
    return " ".join(part for part in (text, private.get("note", "")) if part)


def _step(state: StepState) -> tuple[str, str, str, str]:
    day = state.event.created_at.date().isoformat() if state.event is not None and state.act else ""
    return step_text(state.step), act_text(state.act), day, says_of(state)


def _facts(job: Job, unit: str) -> list[tuple[str, str]]:
    def distance(km: float | None) -> str:
        return _("not known") if km is None else distance_text(km, unit)

    return [
        (_("Vehicle"), job.vehicle_label or "–"),
        (_("Switch"), _("not known yet") if job.design is None else job.design.name),
        (_("Gearbox family"), job.family_label or "–"),
        (_("Symptom"), symptom_text(job.symptom)),
        (_("Distance, vehicle"), distance(job.distance_km)),
        (_("Distance, old unit"), distance(job.old_unit_km)),
        (_("Begun"), job.created_at.date().isoformat()),
        (_("Outcome"), outcome_text(job.outcome)),
    ]


def _verdicts(content: Plain) -> list[str]:
    said = []
    for words, check in (
        (_("Old unit: {verdict}"), content["old_check"]),
        (_("New unit: {verdict}"), content["new_check"]),
    ):
        if check is not None:
            said.append(words.format(verdict=_verdict(check)))
    return said


def _verdict(check: JobCheck) -> str:
    causes = [] if check.verdict == "good" else check.result["causes"][:1]
    return " ".join([verdict_message(check.result), *(str(cause["message"]) for cause in causes)])


def _pattern(content: Plain) -> str:
    chart = content["chart"]
    if chart is None:
        return _("There is no agreed pattern of this switch yet.")
    units = chart["variants"][0]["units"] if chart["variants"] else 0
    return _(
        "Drawn: the pattern, revision {n}, from {units} units. Below it what the old unit read, then the new "
        "one. Heavy bar: the old unit is unlike the pattern."
    ).format(n=content["revision"], units=units)


def _table(content: Plain) -> tuple[list[str], list[tuple[str, list[ReportCell]]]]:
    chart = content["chart"]
    if chart is None or not chart["variants"]:
        return [], []
    cells = {place_of(cell): cell for cell in chart["variants"][0]["cells"] if not cell.get("between")}
    common = chart["common"]
    pairs = list(dict.fromkeys((c["pin"], c["against"]) for c in cells.values()))
    columns = [
        _("Pin {pin}").format(pin=pin) if against == common else f"{pin}–{against}" for pin, against in pairs
    ]
    rows = []
    for position in chart["design"]["positions"]:
        line = []
        for pin, against in pairs:
            place = place_of({"position": position, "pin": pin, "against": against})
            cell = cells.get(place)
            line.append(
                ReportCell(
                    state=None if cell is None else cell["state"],
                    old=content["old"].get(place, ""),
                    new=content["new"].get(place, ""),
                    unlike=place in content["unlike"],
                )
            )
        rows.append((position, line))
    return columns, rows
