"""The labels of a design: which position and which pin a person means."""

from __future__ import annotations

from registry.errors import RegistryError
from registry.models import Design, Pin, Position
from registry.translation import gettext as _


class DesignLabels:
    """Positions (aliases too) and pins of a design by their labels."""

    def __init__(self, design: Design) -> None:
        self.positions: dict[str, Position] = {}
        for position in design.positions.prefetch_related("aliases"):
            self.positions[position.label] = position
            for alias in position.aliases.all():
                self.positions.setdefault(alias.label, position)
        self.pins = {pin.label: pin for pin in Pin.objects.filter(connector__design=design, empty=False)}

    def position(self, label: str) -> Position:
        try:
            return self.positions[label]
        except KeyError:
            known = ", ".join(dict.fromkeys(p.label for p in self.positions.values()))
            raise RegistryError(
                "position_unknown",
                _("There is no position “{label}” in this design.").format(label=label[:40]),
                _("Its positions are {known}.").format(known=known),
            ) from None

    def pin(self, label: str) -> Pin:
        try:
            return self.pins[label]
        except KeyError:
            raise RegistryError(
                "pin_unknown",
                _("There is no pin “{label}” in this design.").format(label=label[:40]),
                _("Its pins are {known}.").format(known=", ".join(self.pins)),
            ) from None
