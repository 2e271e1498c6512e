"""A stored chart as a line code, and the smallest sets of readings that tell good from faulty."""

from __future__ import annotations

from typing import Any

from consensus import Settings, line_code, short_test
from registry.bridge.checks import stored_agreement

Plain = dict[str, Any]


def line_codes(chart: Plain) -> list[Plain]:
    """For each variant: distances between positions, parity, what each single fault would look like."""
    agreement = stored_agreement(chart)
    return [
        line_code(agreement, settings=Settings(), variant=n).to_plain()
        for n in range(len(agreement.variants))
    ]


def short_tests(chart: Plain) -> list[Plain]:
    """For each variant: the fewest readings that tell a good unit, and that name the fault."""
    agreement = stored_agreement(chart)
    return [short_test(agreement, Settings(), n).to_plain() for n in range(len(agreement.variants))]
