"""One sheet against stored charts: verdict and causes, or which switch it is, with their sentences."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from consensus import DesignAgreement, Settings, check_sheet, identify_sheet
from registry.bridge.charts import StoredRow, evidence_readings
from registry.formats.causes import cause_message, verdict_message

Plain = dict[str, Any]


def standing_settings() -> Plain:
    """What a cell needs to be agreed."""
    settings = Settings()
    return {"agreed_units": settings.agreed_units, "agreed_contributors": settings.agreed_contributors}


def stored_agreement(chart: Plain) -> DesignAgreement:
    """A chart document back as the engine's object."""
    return DesignAgreement.from_plain({**chart, "design": chart["design"]["name"]})


def check_one(chart: Plain, others: Sequence[Plain], entry: Plain, rows: Sequence[StoredRow]) -> Plain:
    """The object of `checks` (contracts.md) of one sheet."""
    sheet = evidence_readings(
        {"design": chart["design"], "sheets": [entry], "disputed": [], "decisions": []}, rows
    )
    result = check_sheet(
        sheet, stored_agreement(chart), [stored_agreement(other) for other in others], Settings()
    )
    plain = result.to_plain()
    for cause in plain["causes"]:
        cause["message"] = cause_message(cause, chart["common"])
    plain["message"] = verdict_message(plain)
    return plain


def identify_one(
    charts: Sequence[Plain], shape: Plain, entry: Plain, rows: Sequence[StoredRow], *, as_read: bool
) -> Plain:
    """The object of `units` (contracts.md) of one sheet; candidates carry the design's uuid."""
    sheet = evidence_readings({"design": shape, "sheets": [entry], "disputed": [], "decisions": []}, rows)
    agreements = [stored_agreement(chart) for chart in charts]
    plain = identify_sheet(sheet, agreements, Settings(), as_read).to_plain()
    ids = {chart["design"]["name"]: chart["design"]["uuid"] for chart in charts}
    for candidate in plain["candidates"]:
        candidate["uuid"] = ids.get(candidate["design"])
    return plain
