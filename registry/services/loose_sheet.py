"""Readings of a switch that nobody has named yet: labels are the reader's own, the design is unknown."""

from __future__ import annotations

from typing import Any

from registry.formats.labels import natural_key
from registry.formats.reading import Reading, ReadingKind, parse_reading
from registry.services.fields import Fields
from registry.translation import gettext as _

MOST_READINGS = 2000
Plain = dict[str, Any]


def read_loose(body: Any) -> tuple[Plain, Plain, list[tuple[Any, ...]]]:
    """Shape, sheet entry and rows of {"readings": [{"position", "pin", "against", "reading"}, …]}.

    Positions stand in the order in which they first appear; RegistryErrors names every fault.
    """
    fields = Fields(body)
    rows, positions, pins = [], [], set()
    for row in fields.rows("readings", most=MOST_READINGS):
        position = row.text("position", longest=40, needed=True)
        pin, against = (row.text(name, longest=40, needed=True) for name in ("pin", "against"))
        if pin and pin == against:
            row.wrong("against", "same_pin", _("Both leads are on pin {pin}.").format(pin=pin))
        reading = row.take(
            "reading", lambda value: parse_reading(str(value)), Reading(ReadingKind.NOT_TAKEN, None, None)
        )
        if position not in positions:
            positions.append(position)
        pins |= {pin, against}
        if reading.kind != ReadingKind.NOT_TAKEN:
            kind = reading.kind.name.lower()
            rows.append(
                ("loose", position, False, pin, against, False, 1, kind, reading.low, reading.high, 2e7, 0.0)
            )
    if not rows and not fields.errors:
        fields.wrong("readings", "no_readings", _("There is no reading here."), _("Take one at least."))
    fields.raise_all()
    against_of = [row[4] for row in rows]
    common = max(sorted(set(against_of)), key=against_of.count)
    shape = {
        "uuid": "",
        "name": "",
        "positions": positions,
        "pins": sorted(pins, key=natural_key),
        "common": common,
        "start_positions": None,
    }
    entry = {
        "sheet": "loose",
        "unit": "loose",
        "contributor": "",
        "workshop": None,
        "class": "unknown",
        "held_good": "no",
        "read_at": "bench",
        "units_claimed": 1,
        "variant": None,
        "correction": None,
    }
    return shape, entry, rows
