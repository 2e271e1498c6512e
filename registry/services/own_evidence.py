"""What a contributor's readings alone say: a chart of their units, their data to take away."""

from __future__ import annotations

from typing import Any

from django.core import signing
from django.core.signing import BadSignature

from registry.formats.fleet_words import due_csv
from registry.models import Contributor, Design, Follow, Reading, Sheet, User
from registry.selectors.fleet import due_list, organisations_of
from registry.selectors.job_documents import job_full
from registry.selectors.jobs import jobs_exported
from registry.services.accounts import contributor_of
from registry.services.charts import chart_content, frozen_inputs
from registry.services.snapshots import snapshot_in_force

SALT = "benchquorum.own-chart"
LINK_LASTS = 365 * 24 * 3600  # s
Plain = dict[str, Any]


def own_chart(contributor: Contributor, design: Design) -> Plain | None:
    """The chart that this contributor's sheets alone would give; None where none of them counts."""
    snapshot = snapshot_in_force()
    inputs = frozen_inputs(design, snapshot)
    inputs["sheets"] = [s for s in inputs["sheets"] if s["contributor"] == contributor.pseudonym]
    if not inputs["sheets"]:
        return None
    return chart_content(inputs, snapshot)


def own_chart_link(contributor: Contributor, design: Design) -> str:
    """A token that shows this one chart to whoever has it, for a year."""
    return signing.dumps([str(contributor.uuid), str(design.uuid)], salt=SALT)


def own_chart_of_link(token: str) -> tuple[Contributor, Design] | None:
    """Whose chart of which design a token shows; None where it is no token, or has run out."""
    try:
        contributor, design = signing.loads(token, salt=SALT, max_age=LINK_LASTS)
    except (BadSignature, ValueError, TypeError):
        return None
    person = Contributor.objects.filter(uuid=contributor).first()
    shown = Design.objects.select_related("connector__common").filter(uuid=design).first()
    return (person, shown) if person is not None and shown is not None else None


def account_data(*, by: User) -> Plain:
    """All that is kept of an account, to take away; no secrets, since none can be read back."""
    contributor = contributor_of(by)
    return {
        "format": "benchquorum/account/1",
        "email": by.email,
        "joined": by.date_joined.isoformat(),
        "distance_unit": by.distance_unit,
        "language": by.language,
        "pseudonym": contributor.pseudonym,
        "workshop": contributor.workshop.name if contributor.workshop else None,
        "meters": [
            {
                "name": meter.name,
                "limit_ohm": meter.limit_ohm,
                "apart_shows": meter.apart_shows,
                "buzzer_limit_ohm": meter.buzzer_limit_ohm,
                "leads": [[str(lead.measured_on), lead.ohm] for lead in meter.lead_resistances.all()],
            }
            for meter in contributor.meters.prefetch_related("lead_resistances")
        ],
        "follows": [
            {"design": str(follow.design.uuid), "wanting": follow.wanting}
            for follow in Follow.objects.filter(user=by).select_related("design")
        ],
        "disputes": [
            {"uuid": str(d.uuid), "state": d.state, "reason": d.reason} for d in by.disputes.order_by("pk")
        ],
        "sheets": [_sheet(sheet) for sheet in _sheets(contributor)],
        "jobs": [job_full(job) for job in jobs_exported(by)],
        "facts": [
            {
                "design": str(told.fact.design.uuid),
                "question": told.fact.question,
                "subject": told.fact.subject,
                "answer": told.answer,
                "quantity": told.quantity,
                "source": told.source,
                "note": told.note,
                "counts": told.is_current,
            }
            for told in contributor.fact_answers.select_related("fact__design")
        ],
        "fleets": [
            {"name": one.organisation.name, "role": one.role, "due": due_csv(due_list(one.organisation))}
            for one in organisations_of(by)
        ],
    }


def _sheets(contributor: Contributor) -> Any:
    return (
        Sheet.objects.filter(contributor=contributor)
        .select_related("design", "unit")
        .prefetch_related("versions", "pictures")
        .order_by("pk")
    )


def _sheet(sheet: Sheet) -> Plain:
    rows = Reading.objects.filter(version__sheet=sheet).values_list(
        "version__number",
        "place__position__label",
        "place__between",
        "place__pin_a__label",
        "place__pin_b__label",
        "turned",
        "sweep",
        "as_typed",
        "first_pass",
    )
    readings: dict[int, list[Plain]] = {}
    for number, position, between, a, b, turned, sweep, typed, first in rows.order_by("pk"):
        pin, against = (b, a) if turned else (a, b)
        readings.setdefault(number, []).append(
            {
                "position": position,
                "between": between,
                "pin": pin,
                "against": against,
                "sweep": sweep,
                "reading": typed,
                "first_pass": first,
            }
        )
    return {
        "uuid": str(sheet.uuid),
        "design": str(sheet.design.uuid),
        "name": sheet.name,
        "unit": sheet.unit.key,
        "licence": sheet.licence,
        "withdrawn": sheet.withdrawn_at.isoformat() if sheet.withdrawn_at else None,
        "pictures": sheet.pictures.count(),
        "versions": [
            {
                "number": version.number,
                "made": version.created_at.isoformat(),
                "reason": version.reason,
                "purpose": version.purpose,
                "held_good": version.held_good,
                "read_at": version.read_at,
                "note": version.note,
                "readings": readings.get(version.number, []),
            }
            for version in sheet.versions.all()
        ],
    }
