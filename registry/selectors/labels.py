"""The labels of a design: which position and which pin a person means."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from registry.errors import RegistryError
from registry.models import Design, Pin
from registry.translation import gettext as _


class LabelledPosition(NamedTuple):
    pk: int
    step: int
    label: str


class LabelledPin(NamedTuple):
    pk: int
    order: int
    label: str


class DesignLabels:
    """Positions (aliases too) and pins of a design by their labels."""

    def __init__(self, design: Design) -> None:
        rows = design.positions.order_by("step", "aliases")  # one for each alias, or one without
        positions = rows.values_list("pk", "step", "label", "aliases__label")
        pins = Pin.objects.filter(connector__design=design, empty=False).values_list("pk", "order", "label")
        self._fill(positions, pins)

    @classmethod
    def of(
        cls, positions: Iterable[tuple[int, int, str, str | None]], pins: Iterable[tuple[int, int, str]]
    ) -> DesignLabels:
        """The same of rows already read: id, step, label and one alias or None; id, order and label."""
        made = cls.__new__(cls)
        made._fill(positions, pins)
        return made

    def _fill(
        self, positions: Iterable[tuple[int, int, str, str | None]], pins: Iterable[tuple[int, int, str]]
    ) -> None:
        self.positions: dict[str, LabelledPosition] = {}
        last = None
        for pk, step, label, alias in positions:
            position = LabelledPosition(pk, step, label)
            if position != last:
                self.positions[label] = last = position
            if alias is not None:
                self.positions.setdefault(alias, position)
        self.pins = {pin.label: pin for pin in map(LabelledPin._make, pins)}

    def position(self, label: str) -> LabelledPosition:
        try:
            return self.positions[label]
        except KeyError:
            known = ", ".join(dict.fromkeys(p.label for p in self.positions.values()))
            raise RegistryError(
                "position_unknown",
                _("There is no position “{label}” in this design.").format(label=label[:40]),
                _("Its positions are {known}.").format(known=known),
            ) from None

    def pin(self, label: str) -> LabelledPin:
        try:
            return self.pins[label]
        except KeyError:
            raise RegistryError(
                "pin_unknown",
                _("There is no pin “{label}” in this design.").format(label=label[:40]),
                _("Its pins are {known}.").format(known=", ".join(self.pins)),
            ) from None
