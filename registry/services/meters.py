"""A contributor's own meters: what they show, and their leads as measured day by day."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.formats.reading import parse_ohm
from registry.models import LeadResistance, Meter, User
from registry.permissions import require
from registry.services.accounts import contributor_of
from registry.services.fields import Fields
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
