"""What a package says of itself: title, licence, and a page of words."""

from __future__ import annotations

from typing import Any

LICENCES = {
    "CC-BY-SA-4.0": "https://creativecommons.org/licenses/by-sa/4.0/",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "ODbL-1.0": "https://opendatacommons.org/licenses/odbl/1-0/",
}
ABOUT = (
    "Agreed continuity patterns of multi-position lever switches and the readings behind them. "
    "A chart is evidence, never a certificate."
)
WORDS = """\
# Open data of the registry “{origin}”

{about} Part numbers identify a pattern; they imply no affiliation with anybody.

Licence of the data: {licence}. To have something removed, write to {address}.

`data/` holds the tables, described column by column in `datapackage.json` (Frictionless Data Package, Table
Schema). A text that a spreadsheet would take for a formula is led by an apostrophe. `recompute/` holds what
the charts were computed from: line n of `charts.jsonl` and `inputs.jsonl` belongs to row n of
`data/charts.csv`, line n of `snapshots.jsonl` to row n of `data/snapshots.csv`. `benchquorum verify` computes
every chart anew from them.

`data/facts.csv` asks what must be known before a switch comes out, `data/fact_answers.csv` says who answered
what, `data/fact_standings.csv` what that comes to. `data/unit_events.csv` says what became of units,
`data/lives.csv` how long each is known to have lasted, in km on the unit. `benchquorum verify` gathers both
anew. `data/outcomes.csv` counts how jobs came out, from ten on.

Contributors stand under pseudonyms, workshops under ids. Left out: sheets, answers and reports that their
contributors took back, charts that were never published, names, notes and pictures, jobs, vehicles and
fleets.
"""


def words(origin: str, licence: str, address: str) -> str:
    """In English whoever exports: the same registry gives the same bytes."""
    return WORDS.format(origin=origin, licence=licence, address=address, about=ABOUT)


def head(origin: str, licence: str) -> dict[str, Any]:
    """The descriptor without its resources."""
    entry = {"name": licence, "title": licence}
    if licence in LICENCES:
        entry["path"] = LICENCES[licence]
    return {
        "profile": "data-package",
        "name": "benchquorum-open-data",
        "title": f"Open data of the registry “{origin}”",
        "description": ABOUT,
        "licenses": [entry],
        "contributors": [{"title": f"Contributors of the registry “{origin}”"}],
    }
