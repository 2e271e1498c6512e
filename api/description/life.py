"""JSON schema and example of a design's units over time, and of what became of a unit."""

from __future__ import annotations

from typing import Any

from api.description.charts import COUNT, SHARE, TEXT, many, thing
from api.description.examples import DESIGN_ID

Plain = dict[str, Any]
KM: Plain = {"type": "number", "minimum": 0}
END: Plain = {"type": ["number", "null"]}
CLASS: Plain = {"type": "string", "enum": ["original", "equivalent", "unknown"]}
REPORTED_BY: Plain = {"type": "string", "enum": ["fleet", "volunteers"]}


def maybe(shape: Plain) -> Plain:
    return {**shape, "type": ["object", "null"]}


BOUNDED: Plain = maybe(thing(estimate={"type": "number"}, low=END, high=END))
GROUP: Plain = thing(
    **{"class": CLASS},
    units=COUNT,
    failures=COUNT,
    survival=many(thing(km=KM, s=SHARE, low=SHARE, high=SHARE)),
    weibull=maybe(thing(shape={"type": "number"}, scale_km={"type": "number"})),
    b5_km=BOUNDED,
    b10_km=BOUNDED,
    message=TEXT,
)
GROUP["properties"] |= {
    "next_failure": {"type": "object", "description": "Where `at_km` was asked and there is a law"},
    "replacement_km": {
        "type": "object",
        "description": "Where both costs were given and there is a law",
    },
}
COMPARISON = thing(
    classes={"type": "array", "items": CLASS, "minItems": 2, "maxItems": 2},
    method={"type": "string", "enum": ["log_rank", "log_rank_interval", "weibull_ratio"]},
    p=SHARE,
    message=TEXT,
)
COHORT = thing(reported_by=REPORTED_BY, caution=TEXT, groups=many(GROUP), comparisons=many(COMPARISON))
CLASS_SHARE = thing(
    **{"class": CLASS},
    units=COUNT,
    matching={"type": ["integer", "null"], "description": "null: too few units or workshops to say"},
    interval={"type": ["array", "null"], "items": SHARE},
)
OUTCOME = thing(symptom=TEXT, checked=COUNT, at_fault=COUNT, interval={"type": "array", "items": SHARE})
LIFE_ANSWER: Plain = thing(
    format={"type": "string", "const": "benchquorum/life/1"},
    design={"type": "string", "format": "uuid"},
    name=TEXT,
    caution=TEXT,
    cohorts=many(COHORT),
    drift=thing(trend={"type": "object"}, replace={"type": "object"}),
    class_shares=many(CLASS_SHARE),
    outcomes=many(OUTCOME),
)
FEW = "Failed units are brought in more often than good ones: lives look shorter here than they are."
EXAMPLE: Plain = {
    "format": "benchquorum/life/1",
    "design": DESIGN_ID,
    "name": "Quillbrack QB-5",
    "caution": FEW,
    "cohorts": [
        {"reported_by": "fleet", "caution": "", "groups": [], "comparisons": []},
        {
            "reported_by": "volunteers",
            "caution": FEW,
            "groups": [
                {
                    "class": "original",
                    "units": 7,
                    "failures": 2,
                    "survival": [],
                    "weibull": None,
                    "b5_km": None,
                    "b10_km": None,
                    "message": "7 units, 2 failures: too few to say more.",
                }
            ],
            "comparisons": [],
        },
    ],
    "drift": {"trend": {"reason": "too_few"}, "replace": {"reason": "too_few"}},
    "class_shares": [{"class": "equivalent", "units": 3, "matching": None, "interval": None}],
    "outcomes": [],
}
KIND: Plain = {"type": "string", "enum": ["fitted", "good", "failed", "out_good"]}
FIGURE: Plain = {"type": ["number", "null"], "minimum": 0, "maximum": 1e7}
EVENT_BODY: Plain = {
    "type": "object",
    "properties": {
        "kind": KIND,
        "distance_km": {**FIGURE, "description": "On the unit, not on the vehicle"},
        "entered_km": {**FIGURE, "description": "Where the unit came used: the distance on it then"},
        "good_km": {
            **FIGURE,
            "description": "Of a failure: last good; distance_km if noticed at once",
        },
        "happened_on": {"type": ["string", "null"], "format": "date"},
    },
    "required": ["kind", "distance_km"],
}
EVENT_EXAMPLE: Plain = {"kind": "failed", "distance_km": 121000, "good_km": 118000}
EVENT: Plain = thing(
    event={"type": "string", "format": "uuid"},
    kind=KIND,
    distance_km={"type": ["number", "null"]},
    entered_km={"type": "number"},
    good_km={"type": ["number", "null"]},
    happened_on={"type": ["string", "null"], "format": "date"},
)
EVENT_ANSWER: Plain = {
    "event": "0f3a7c52-3f6f-4d3a-9d0c-6d2b6a1f0a11",
    "kind": "failed",
    "distance_km": 121000.0,
    "entered_km": 0.0,
    "good_km": 118000.0,
    "happened_on": None,
}
