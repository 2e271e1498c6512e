"""The fields that a bench sheet has (DEVELOPERS.md, § Bodies): what is kept of a body as it was sent."""

from __future__ import annotations

from typing import Any

Plain = dict[str, Any]
OF_SHEET = (
    "client_id", "design", "name", "purpose", "held_good", "source_class", "read_at", "read_on",
    "distance_km", "measured_it_myself", "units_claimed", "note", "rereads",
)  # fmt: skip
OF_UNIT = ("key", "tag_code", "date_code", "part_number")
OF_METER = ("name", "limit_ohm", "lead_ohm", "apart_shows", "buzzer_limit_ohm", "resolution_ohm")
OF_READING = ("position", "pin", "against", "reading", "sweep", "between")


def known_fields(body: Plain) -> Plain:
    """Of a body that `read_body` took, what it looked at: nobody answers for the rest.

    >>> known_fields({"note": "", "x": 1e16, "unit": {"key": "u", "x": 1}, "readings": [{"pin": "2"}]})
    {'note': '', 'unit': {'key': 'u'}, 'readings': [{'pin': '2'}]}
    """
    kept = _only(OF_SHEET, body)
    for name, names in (("unit", OF_UNIT), ("meter", OF_METER)):
        if body.get(name) is not None:
            kept[name] = _only(names, body[name])
    for name in ("readings", "second_pass"):
        if body.get(name) is not None:
            kept[name] = [_only(OF_READING, row) for row in body[name]]
    return kept


def _only(names: tuple[str, ...], values: Plain) -> Plain:
    return {name: values[name] for name in names if name in values}
