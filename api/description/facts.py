"""JSON schemas and examples of facts about a job, and of a workshop's fleet."""

from __future__ import annotations

from api.description.bodies import YES_NO, Plain, blank_or, record, text, word
from api.description.examples import DESIGN_ID
from registry.formats.fact_questions import QUESTIONS
from registry.models.facts import FactSource
from registry.models.fleet import MemberRole, Removal

ID: Plain = {"type": "string", "format": "uuid"}
FLEET_ID = "0b6c5a0e-4f0e-4b1c-9a57-2f64b1a7c3de"
VEHICLE_ID = "c2c1a9d4-7c0d-4c59-8a4b-5f1f6f0b7e21"
FACT_ID = "f0a6b8a2-3a52-4bb0-a3f1-6d2b9d1c5e77"
MAYBE: Plain = {"type": ["number", "null"]}
MAYBE_TEXT: Plain = {"type": ["string", "null"]}


def figure(high: float, **more: float) -> Plain:
    """A number, or nothing; text is read as a person types it."""
    return {"type": ["number", "null"], "minimum": 0, "maximum": high, **more}


FACT_BODY: Plain = record(
    ["question", "source"],
    question={"type": "string", "enum": [question.code for question in QUESTIONS]},
    subject=text(80, description="The tool or fastener, where the question is about one"),
    answer=text(80, description="A choice's code, or words"),
    quantity=figure(1e6, exclusiveMinimum=0),
    source={"type": "string", "enum": list(FactSource.values)},
    note=text(300),
)
FACT_LINE: Plain = {
    "fact": FACT_ID,
    "question": "rest_in_place",
    "asks": "Does it come out with the rest left in place?",
    "subject": "",
    "answer": "yes",
    "typical": None,
    "unit": "",
    "accept": None,
    "standing": "agreed",
    "voices": 6,
    "agreeing": 5,
    "disputed": False,
}
FACTS: Plain = record(
    ["design", "facts"],
    design=ID,
    facts={
        "type": "array",
        "items": record(
            list(FACT_LINE),
            fact={"type": ["string", "null"], "format": "uuid"},
            question={"type": "string"},
            asks={"type": "string"},
            subject={"type": "string"},
            answer=MAYBE_TEXT,
            typical=MAYBE,
            unit={"type": "string"},
            accept={"type": ["array", "null"], "items": {"type": "number"}},
            standing={"type": "string"},
            voices={"type": "integer"},
            agreeing={"type": ["integer", "null"]},
            disputed={"type": "boolean"},
        ),
    },
)
FACTS_EXAMPLE: Plain = {"design": DESIGN_ID, "facts": [FACT_LINE]}

FLEET_BODY: Plain = record(["name"], name=text(120, needed=True))
POLICY_BODY: Plain = record(
    [],
    name=text(120),
    policy_km=figure(5e6),
    next_km=figure(5e6),
    planned_cost=figure(1e9),
    breakdown_cost=figure(1e9),
    shares_units=YES_NO,
)
FLEET_LINE: Plain = {
    "fleet": FLEET_ID,
    "name": "Marsh Quay vehicles",
    "role": "owner",
    "policy_km": 120000.0,
    "next_km": 10000.0,
    "planned_cost": 380.0,
    "breakdown_cost": 2600.0,
    "shares_units": False,
}
FLEET: Plain = record(
    list(FLEET_LINE),
    fleet=ID,
    name={"type": "string"},
    role={"type": "string", "enum": list(MemberRole.values)},
    policy_km=MAYBE,
    next_km={"type": "number"},
    planned_cost=MAYBE,
    breakdown_cost=MAYBE,
    shares_units={"type": "boolean"},
)
FLEETS: Plain = record(["results"], results={"type": "array", "items": FLEET})

VEHICLE_BODY: Plain = record(
    ["label"],
    label=text(120, needed=True),
    family=text(120),
    design=text(200, description="Its switch: design, part number or id"),
    km=figure(5e6),
    read_on=blank_or("date"),
    fitted_km=figure(5e6),
    fitted_on=blank_or("date"),
    unit_km=figure(5e6),
)
DISTANCE_BODY: Plain = record(
    ["km"], km={"type": "number", "minimum": 0, "maximum": 5e6}, read_on=blank_or("date")
)
UNIT_BODY: Plain = record(
    ["act"],
    act={"type": "string", "enum": ["fit", "remove"]},
    fitted_km=figure(5e6),
    fitted_on=blank_or("date"),
    unit_km=figure(5e6),
    design=text(200),
    removed_km=figure(5e6),
    removed_on=blank_or("date"),
    because=word(list(Removal.values), Removal.UNKNOWN),
)
VEHICLE_LINE: Plain = {
    "vehicle": VEHICLE_ID,
    "label": "Sweeper 12",
    "design": DESIGN_ID,
    "retired": False,
    "vehicle_km": 90500.0,
    "read_on": "2026-11-20",
    "unit_km": 65500.0,
    "chance": 0.12,
    "waiting_cost": 266.4,
    "due_km": 54500.0,
    "due_on": "2028-05-14",
}
VEHICLE: Plain = record(
    list(VEHICLE_LINE),
    vehicle=ID,
    label={"type": "string"},
    design={"type": ["string", "null"], "format": "uuid"},
    retired={"type": "boolean"},
    vehicle_km=MAYBE,
    read_on={"type": ["string", "null"], "format": "date"},
    unit_km=MAYBE,
    chance=MAYBE,
    waiting_cost=MAYBE,
    due_km=MAYBE,
    due_on={"type": ["string", "null"], "format": "date"},
)
VEHICLES: Plain = record(["results"], results={"type": "array", "items": VEHICLE})
