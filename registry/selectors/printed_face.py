"""The connector of a design as a print draws it."""

from __future__ import annotations

from registry.formats.print_parts import PrintCavity, PrintFace, facing_words
from registry.models import Design


def printed_face(design: Design) -> PrintFace | None:
    """None where no connector was drawn."""
    connector = getattr(design, "connector", None)
    if connector is None:
        return None
    return PrintFace(
        [PrintCavity(pin.label, pin.row, pin.column, pin.empty) for pin in connector.pins.all()],
        connector.landmark,
        facing_words(connector.viewing),
    )
