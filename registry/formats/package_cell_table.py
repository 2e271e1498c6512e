"""The cells of the charts as a table, for who doesn't read JSON."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from registry.formats.package_columns import Table, count, figure, text, yes
from registry.formats.package_shared_columns import DESIGN

CELLS = Table(
    "cells",
    "The cells of the charts, for who doesn't read JSON",
    (
        DESIGN,
        count("revision", "Number"),
        text("variant", "Key", needed=True),
        text("position", "Label", needed=True),
        yes("between", "Between this position and the next"),
        text("pin", "Label", needed=True),
        text("against", "Label", needed=True),
        text("state", "Empty: unread", "open", "closed", "resistive"),
        figure("p_open", "Posterior probability that the pattern is open here", True),
        text("standing", "How sure", "agreed", "provisional", "disputed", "thin", "unread", needed=True),
        count("units", "Independent units that were read here"),
        count("agreeing", "Of them, those that agree"),
        count("contributors", "People who read them"),
        figure("agreement_low", "95 % Clopper-Pearson interval of agreeing / units"),
        figure("agreement_high", "Its upper end"),
        figure("ohm_typical", "Ω"),
        figure("ohm_accept_low", "Acceptance range of one new unit, Ω"),
        figure("ohm_accept_high", "Acceptance range of one new unit, Ω"),
    ),
    ("design", "revision", "variant", "position", "between", "pin", "against"),
)


def cell_rows(design: str, revision: int, chart: dict[str, Any]) -> Iterator[tuple[Any, ...]]:
    """The rows of one chart, in its own order."""
    for variant in chart["variants"]:
        for cell in variant["cells"]:
            yield design, revision, variant["variant"], *_figures(cell)


def _figures(cell: dict[str, Any]) -> tuple[Any, ...]:
    ohm = cell.get("ohm") or {}
    accept = ohm.get("accept") or (None, None)
    return (
        cell["position"],
        bool(cell.get("between", False)),
        cell["pin"],
        cell["against"],
        cell["state"] or "",
        cell["p_open"],
        cell["standing"],
        *(cell[name] for name in ("units", "agreeing", "contributors")),
        *(cell.get("agreement") or (None, None)),
        ohm.get("typical"),
        *accept,
    )
