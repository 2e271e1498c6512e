"""One sheet against stored charts: verdict and causes, or which switch it is, with their sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from consensus import DesignAgreement, Outcomes, Settings, check_sheet, identify_sheet, learned_priors
from consensus.other_designs import OtherDesign, OtherDesigns, other_design
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


@dataclass(frozen=True)
class StoredChart:
    """A chart document, and the engine's object of it, made once: what it works out of a chart it keeps."""

    document: Plain

    @cached_property
    def agreement(self) -> DesignAgreement:
        return stored_agreement(self.document)


def other_of(document: Plain) -> OtherDesign:
    """What a check of another design needs of a chart; some hundred bytes."""
    return other_design(stored_agreement(document))


def outcomes_of(good: int = 0, faulty: Mapping[str, int] | None = None, unnamed: int = 0) -> Outcomes:
    """Counts of recorded outcomes, as a check learns its fault rates from them (`consensus.Outcomes`)."""
    return Outcomes(good=good, faulty=dict(faulty or {}), unnamed=unnamed)


def check_one(
    chart: StoredChart,
    others: OtherDesigns | None,
    entry: Plain,
    rows: Sequence[StoredRow],
    outcomes: Outcomes | None = None,
) -> Plain:
    """The object of `checks` (contracts.md) of one sheet.  others: charts of the same shape, for
    which the switch could be mistaken; outcomes: recorded ones, used from ten on."""
    document = chart.document
    sheet = evidence_readings(
        {"design": document["design"], "sheets": [entry], "disputed": [], "decisions": []}, rows
    )
    settings = learned_priors(Settings(), outcomes)
    result = check_sheet(sheet, chart.agreement, others or (), settings)
    plain = result.to_plain()
    for cause in plain["causes"]:
        cause["message"] = cause_message(cause, document["common"])
    plain["message"] = verdict_message(plain)
    return plain


def identify_one(
    charts: Sequence[StoredChart], shape: Plain, entry: Plain, rows: Sequence[StoredRow], *, as_read: bool
) -> Plain:
    """The object of `units` (contracts.md) of one sheet; candidates carry the design's uuid."""
    sheet = evidence_readings({"design": shape, "sheets": [entry], "disputed": [], "decisions": []}, rows)
    plain = identify_sheet(sheet, [chart.agreement for chart in charts], Settings(), as_read).to_plain()
    designs = [chart.document["design"] for chart in charts]
    ids = {design["name"]: design["uuid"] for design in designs}
    for candidate in plain["candidates"]:
        candidate["uuid"] = ids.get(candidate["design"])
    return plain
