"""The service-life law of each design, worked out when its units' histories changed and kept as a row."""

from __future__ import annotations

from functools import partial

from django.db.models import F, Max, Q

from registry.bridge.life import life_figures
from registry.models import Design, LifeLaw
from registry.selectors.unit_lives import FLEET, unit_lives
from registry.services.one_by_one import OneByOne


def law_refresh(design: Design) -> LifeLaw:
    """From workshops that report all of their units where they are enough, else from everybody."""
    lives = unit_lives(design)
    told, cohort = life_figures(life.row for life in lives if life.cohort == FLEET), "fleet"
    if told["weibull"] is None:
        told, cohort = life_figures(life.row for life in lives), "all"
    law = told["weibull"] or {"shape": None, "scale_km": None}
    row, _made = LifeLaw.objects.update_or_create(
        design=design,
        defaults={
            "shape": law["shape"],
            "scale_km": law["scale_km"],
            "cohort": cohort,
            "units": told["units"],
            "failures": told["failures"],
        },
    )
    return row


def laws_refresh() -> int:
    """Every design of which something was heard since its law was worked out; how many there were.

    Raises SomeFailed, after all of them.
    """
    heard = Design.objects.annotate(last=Max("units__events__created_at")).filter(
        Q(last__isnull=False), Q(life_law=None) | Q(last__gte=F("life_law__computed_at"))
    )
    laws = OneByOne("service-life laws")
    for design in list(heard.order_by("pk")):
        laws.run(partial(_counted, design))
    return laws.end()


def _counted(design: Design) -> int:
    law_refresh(design)
    return 1
