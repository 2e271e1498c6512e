"""JSON schemas and examples of jobs."""

from __future__ import annotations

from typing import Any

from api.description.bodies import Plain, blank_or, record, text, word
from api.description.charts import COUNT, SHARE, TEXT, many, thing
from api.description.examples import DESIGN_ID, SHEET_ID
from api.description.sheet_examples import CLIENT_ID, READINGS_EXAMPLE
from registry.models.jobs import JobAct, JobOutcome, JobStep, JobSymptom
from registry.services.jobs.sending import WHAT

JOB_ID = "5b7b4b1e-3b0a-4b0f-9d0e-6a4f0f7f2c10"
TIME: Plain = {"type": ["string", "null"], "format": "date-time"}
FIGURE: Plain = {"type": ["number", "null"]}
STATES = ["open", "done", "skipped", "tried", "stopped"]

_ABOUT: dict[str, Plain] = {
    "symptom": {"type": "string", "enum": list(JobSymptom.values)},
    "client_id": {**blank_or("uuid"), "description": "Made by the client; sent again it gets the first job."},
    "vehicle": text(120, description="A word of your own, such as a fleet number; only you see it."),
    "family": text(120, description="The gearbox family"),
    "design": text(200, description="The design's id, or its name; leave it out while it isn't known."),
    "distance_km": {"type": ["number", "string", "null"], "description": "Of the vehicle"},
    "note": text(2000),
}
BODY: Plain = record(["symptom"], **_ABOUT)
STEP_BODY: Plain = record(
    ["step"],
    step={"type": "string", "enum": list(JobStep.values)},
    act=word([JobAct.DONE.value, JobAct.SKIPPED.value], "done"),
    reason=text(300, description="Why it is skipped"),
    data={"type": ["object", "null"], "description": "What the step asks for; see api/README.md, § Jobs"},
)
OUTCOME_BODY: Plain = record(
    ["outcome"], outcome={"type": "string", "enum": list(JobOutcome.values)}, note=text(2000)
)
GIVE_BODY: Plain = record(
    ["what"],
    what={"type": "string", "enum": list(WHAT)},
    act=word(["give", "take_back"], "give"),
)

LINE_FIELDS: dict[str, Plain] = {
    "job": {"type": "string", "format": "uuid"},
    "origin": TEXT,
    "begun": {"type": "string", "format": "date-time"},
    "vehicle": TEXT,
    "family": TEXT,
    "design": {"type": ["string", "null"], "format": "uuid"},
    "design_name": {"type": ["string", "null"]},
    "symptom": TEXT,
    "distance_km": FIGURE,
    "old_unit_km": {**FIGURE, "description": "Distance on the old unit"},
    "next_step": {"type": ["string", "null"], "enum": [*JobStep.values, None]},
    "stopped": {"type": "boolean", "description": "A start where none may be, not yet put right: no driving"},
    "verified": TIME,
    "outcome": {"type": ["string", "null"], "enum": [*JobOutcome.values, None]},
    "outcome_given": TIME,
    "closed": TIME,
}
JOB: Plain = thing(
    **LINE_FIELDS,
    steps=many(
        thing(step=TEXT, state={"type": "string", "enum": STATES}, event={"type": ["integer", "null"]})
    ),
    units=many(
        thing(
            unit={"type": "string", "enum": ["old", "new"]},
            submission={"type": ["string", "null"], "format": "uuid"},
            verdict={"type": ["string", "null"], "enum": ["good", "faulty", "undecided", None]},
            p_good={"anyOf": [SHARE, {"type": "null"}]},
            revision={"type": ["integer", "null"], "description": "Of the chart it was checked against"},
            body={"type": "object"},
        )
    ),
    events=many(
        thing(
            number=COUNT,
            at={"type": "string", "format": "date-time"},
            step=TEXT,
            act={"type": "string", "enum": list(JobAct.values)},
            corrects={"type": ["integer", "null"]},
            data={"type": "object"},
            private={"type": "object"},
        )
    ),
    pictures=many(thing(order=COUNT, step=TEXT)),
)

LINE_EXAMPLE: dict[str, Any] = {
    "job": JOB_ID,
    "origin": "fleet-workshops",
    "begun": "2026-11-20T07:40:00Z",
    "vehicle": "Sweeper 7",
    "family": "Aldmoor 3-speed",
    "design": DESIGN_ID,
    "design_name": "Sweeper selector, five pins",
    "symptom": "silent",
    "distance_km": 120000.0,
    "old_unit_km": 80000.0,
    "next_step": "new_benched",
    "stopped": False,
    "verified": None,
    "outcome": None,
    "outcome_given": None,
    "closed": None,
}
EXAMPLE: dict[str, Any] = {
    **LINE_EXAMPLE,
    "steps": [{"step": "symptom", "state": "done", "event": 1}],
    "units": [
        {
            "unit": "old",
            "submission": SHEET_ID,
            "verdict": "faulty",
            "p_good": 0.01,
            "revision": 3,
            "body": {"readings": READINGS_EXAMPLE},
        }
    ],
    "events": [
        {
            "number": 1,
            "at": "2026-11-20T07:40:00Z",
            "step": "symptom",
            "act": "done",
            "corrects": None,
            "data": {"symptom": "silent", "distance_km": 120000.0},
            "private": {"vehicle": "Sweeper 7"},
        }
    ],
    "pictures": [],
}
BODY_EXAMPLE: dict[str, Any] = {
    "client_id": CLIENT_ID,
    "symptom": "silent",
    "vehicle": "Sweeper 7",
    "design": DESIGN_ID,
    "distance_km": 120000,
}
STEP_EXAMPLE: dict[str, Any] = {
    "step": "suspect_benched",
    "data": {"sheet": {"measured_it_myself": True, "readings": READINGS_EXAMPLE}},
}
