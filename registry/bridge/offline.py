"""A stored chart as the tables from which a page checks a suspect without a network."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from consensus import Settings
from consensus.fault_priors import Outcomes, learned_priors
from consensus.offline_tables import offline_tables
from registry.bridge.checks import StoredChart

Plain = dict[str, Any]


def tables_of(chart: StoredChart, others: Sequence[StoredChart], outcomes: Outcomes | None = None) -> Plain:
    """JSON-ready; others: charts of the same shape, for which the switch could be mistaken; outcomes: as the
    server's own check has them."""
    settings = learned_priors(Settings(), outcomes)
    return offline_tables(chart.agreement, [other.agreement for other in others], settings)
