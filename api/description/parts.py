"""JSON schema and example of a design with all that is published of it."""

from __future__ import annotations

from typing import Any

from api.description.charts import thing
from api.description.examples import DESIGN_ID
from registry.formats.package_part import PART

PART_SCHEMA: dict[str, Any] = thing(
    format={"type": "string", "enum": [PART]},
    origin={"type": "string", "description": "Name of the registry"},
    design={"type": "string", "format": "uuid"},
    tables={
        "type": "object",
        "description": "Rows of the open-data package's tables, by table, in the order of its columns",
        "additionalProperties": {"type": "array", "items": {"type": "array"}},
    },
    lines={
        "type": "object",
        "description": "Exact text of charts, of their inputs and of the reliability snapshots",
        "additionalProperties": {"type": "array", "items": {"type": "string"}},
    },
)
EXAMPLE: dict[str, Any] = {
    "format": PART,
    "origin": "fleet-workshops",
    "design": DESIGN_ID,
    "tables": {"positions": [[DESIGN_ID, 1, "P", "park", True, []]]},
    "lines": {"charts": [], "inputs": [], "snapshots": []},
}
