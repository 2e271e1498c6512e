"""A stored chart as the tables from which a page checks a suspect without a network."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from consensus.offline_tables import offline_tables
from registry.bridge.checks import StoredChart

Plain = dict[str, Any]


def tables_of(chart: StoredChart, others: Sequence[StoredChart]) -> Plain:
    """JSON-ready; others: charts of the same shape, for which the switch could be mistaken."""
    return offline_tables(chart.agreement, [other.agreement for other in others])
