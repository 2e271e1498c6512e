"""A contributor's own meters: what they show, and their leads as measured day by day."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.formats.reading import parse_ohm
from registry.models import Contributor, LeadResistance, Meter, User
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.fields import Fields
from registry.services.sheet_body import MeterUsed, SheetBody
from registry.translation import gettext as _


@transaction.atomic
def meter_keep(*, by: User, body: Any) -> Meter:
    """Remember a meter by its name, or what changed about it; RegistryErrors names every fault.

    body: {"name", "apart_shows", "limit_ohm", "buzzer_limit_ohm", "lead_ohm"}; the leads are kept by date.
    """
    require(by, "submit")
    fields = Fields(body)
    name = fields.text("name", longest=80, needed=True)
    limit = fields.take("limit_ohm", _ohm, 2e7)
    buzzer = fields.take("buzzer_limit_ohm", _ohm, None)
    leads = fields.take("lead_ohm", _ohm, None)
    apart = fields.text("apart_shows", longest=20) or "OL"
    if limit < 1:
        fields.wrong("limit_ohm", "limit_impossible", _("No meter ends below 1 Ω."))
    if leads is not None and leads > 1000:
        fields.wrong("lead_ohm", "lead_impossible", _("Leads have less than 1 kΩ."))
    fields.raise_all()
    meter, _made = Meter.objects.update_or_create(
        contributor=contributor_of(by),
        name=name,
        defaults={"limit_ohm": limit, "buzzer_limit_ohm": buzzer, "apart_shows": apart},
    )
    if leads is not None:
        LeadResistance.objects.update_or_create(
            meter=meter, measured_on=timezone.localdate(), defaults={"ohm": leads}
        )
    return meter


def _ohm(value: Any) -> float:
    return parse_ohm(str(value))


def meter_of(contributor: Contributor, used: MeterUsed, body: SheetBody) -> Meter | None:
    """The meter that a sheet names, as it is now."""
    if not used.name:
        return None
    shown = {
        "limit_ohm": used.limit_ohm,
        "apart_shows": used.apart_shows,
        "buzzer_limit_ohm": used.buzzer_limit_ohm,
        "resolution_ohm": used.resolution_ohm,
    }
    meter, _made = Meter.objects.get_or_create(contributor=contributor, name=used.name, defaults=shown)
    _update(meter, shown)
    day = body.read_on or timezone.localdate()
    leads, _made = LeadResistance.objects.get_or_create(
        meter=meter, measured_on=day, defaults={"ohm": used.lead_ohm}
    )
    _update(leads, {"ohm": used.lead_ohm})
    return meter


def _update(row: Meter | LeadResistance, values: dict[str, Any]) -> None:
    """Most sheets are read with the meter of the sheet before: what is as it was is not written again."""
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
