"""The tables of a package about the job around a switch: facts, units over time, how jobs came out.

Nothing of a vehicle, a fleet or a person is in them: facts and units stand under the contributors'
pseudonyms, outcomes are counts alone.
"""

from __future__ import annotations

from typing import Any

from registry.formats.package_columns import Table, count, figure, name_of, text, yes
from registry.formats.package_shared_columns import (
    COUNTS,
    DESIGN,
    OF_DESIGN,
    OF_PERSON,
    OF_UNIT,
    ORIGIN,
    PERSON,
    UNIT,
)

SYMPTOMS = ("silent", "neutral_only", "display", "comes_and_goes")
ENTERED = figure("entered_km", "Where it came under observation", True)
GOOD = figure("good_km", "The longest distance at which it was known to be good")

WORKSHOPS = Table(
    "workshops",
    "Workshops of the contributors, by id alone",
    (
        name_of("workshop", "Id"),
        ORIGIN,
        yes("reports_all", "Whether it reports every unit that it has, as a moderator confirmed"),
    ),
    ("workshop",),
    later=True,
)
FACTS = Table(
    "facts",
    "Questions about the job around a design that somebody answered",
    (
        name_of("fact", "Id"),
        ORIGIN,
        DESIGN,
        text("question", "Code of the question", needed=True),
        text("subject", "What it is asked of: a tool, a fastener; empty where once a design"),
    ),
    ("fact",),
    (OF_DESIGN,),
    later=True,
)
FACT_ANSWERS = Table(
    "fact_answers",
    "Each person's last answer; what was taken back is left out",
    (
        name_of("answer", "Id"),
        ORIGIN,
        text("fact", "Id of the fact", needed=True),
        PERSON,
        COUNTS,
        text("choice", "Code of a choice, or the words of an open question"),
        figure("quantity", "Of a question about a quantity, in its unit"),
        text("source", "How they know", "did_it", "saw_it", "procedure", needed=True),
    ),
    ("answer",),
    (("fact", "facts", "fact"), OF_PERSON),
    later=True,
)
FACT_STANDINGS = Table(
    "fact_standings",
    "What the answers to each fact come to; `benchquorum verify` computes it anew from them",
    (
        name_of("fact", "Id of the fact"),
        text("choice", "The likeliest, as a key: in lower case, single spaces; empty: none, or a quantity"),
        figure("p", "Its posterior probability"),
        figure("typical", "Robust centre of a quantity, in the question's unit"),
        figure("accept_low", "Range of the next job (content and confidence 95 %)"),
        figure("accept_high", "Its upper end"),
        text("standing", "How sure", "agreed", "provisional", "disputed", "thin", "unread", needed=True),
        count("voices", "Independent voices: colleagues of one workshop are one"),
        count("agreeing", "Of them, those that agree; of choices alone", needed=False),
    ),
    ("fact",),
    (("fact", "facts", "fact"),),
    later=True,
)
UNIT_EVENTS = Table(
    "unit_events",
    "What people say became of a unit, km on the unit; what was taken back is left out",
    (
        name_of("event", "Id"),
        ORIGIN,
        UNIT,
        PERSON,
        COUNTS,
        text("kind", "What became of it", "fitted", "good", "failed", "out_good", needed=True),
        figure("distance_km", "Where, km on the unit"),
        ENTERED,
        GOOD,
    ),
    ("event",),
    (OF_UNIT, OF_PERSON),
    later=True,
)
LIVES = Table(
    "lives",
    "Units over time as `benchquorum life` reads them; `benchquorum verify` gathers them anew",
    (
        DESIGN,
        name_of("unit", "Id of the switch"),
        text("class", "Source class", "original", "equivalent", "unknown", needed=True),
        ENTERED,
        GOOD,
        figure("failed_km", "Where it was known to have failed; empty: it has not"),
        text("reported_by", "Volunteers report failures more often", "fleet", "volunteers", needed=True),
    ),
    ("design", "unit"),
    (OF_DESIGN,),
    later=True,
)
OUTCOMES = Table(
    "outcomes",
    "How jobs came out by what the vehicle did, counted; below ten nothing is said",
    (
        DESIGN,
        text("symptom", "What the vehicle did", "all", *SYMPTOMS, needed=True),
        ORIGIN,
        count("checked", "Units that were checked, with an outcome"),
        count("at_fault", "Of them, those where a new unit made the symptom go"),
    ),
    ("design", "symptom", "origin"),
    (OF_DESIGN,),
    later=True,
)
JOB_TABLES = (WORKSHOPS, FACTS, FACT_ANSWERS, FACT_STANDINGS, UNIT_EVENTS, LIVES, OUTCOMES)


def standing_row(said: dict[str, Any]) -> tuple[Any, ...]:
    """What the consensus of a fact says, as the columns of `fact_standings` after the first."""
    accept = said.get("accept") or (None, None)
    figures = (said.get("p"), said.get("typical"), *accept)
    return (
        said.get("answer") or "",
        *map(_rounded, figures),
        said["standing"],
        said["voices"],
        said.get("agreeing"),
    )


def _rounded(value: float | None) -> float | None:
    """To nine figures: another machine's last digit is no other answer."""
    return None if value is None else float(f"{value:.9g}")
