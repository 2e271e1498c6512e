"""What the service-life law of a design says of the units in a workshop's vehicles."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from consensus import age_replacement
from consensus.weibull import WeibullFit

Plain = dict[str, Any]


def chances_ahead(law: Plain, unit_km: Sequence[float], further_km: float) -> list[float]:
    """For each distance on a unit the chance that it fails within the next `further_km`."""
    fit = WeibullFit(law["shape"], law["scale_km"], float("nan"))
    return [fit.next_failure(km, further_km) for km in unit_km]


def best_age(law: Plain, planned: float, breakdown: float) -> float | None:
    """Distance on the unit, km, at which replacing costs least; None: run to failure."""
    return age_replacement(law["shape"], law["scale_km"], planned, breakdown).km
