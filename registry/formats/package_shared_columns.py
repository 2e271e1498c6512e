"""Columns that several tables of an open-data package have, and what they refer to."""

from __future__ import annotations

from registry.formats.package_columns import name_of, text, yes

ORIGIN = text("origin", "Name of the registry that made it", needed=True)
DESIGN = name_of("design", "Id of the design")
UNIT = text("unit", "Id of the unit", needed=True)
PERSON = text("contributor", "Pseudonym", needed=True)
COUNTS = yes("counts", "False: set aside with the whole account of its contributor")

OF_DESIGN = ("design", "designs", "design")
OF_UNIT = ("unit", "units", "unit")
OF_PERSON = ("contributor", "contributors", "contributor")
