"""What a reader asks of the lives: about a unit at hand, and what replacing costs."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from registry.formats.figures import KM_A_MILE

FARTHEST = 1e7
_FIGURE = {"inputmode": "decimal", "autocomplete": "off"}


class Figure(forms.FloatField):
    """A decimal comma is as good as a point."""

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class LifeForm(forms.Form):
    """Sent with the address, so that an answer can be kept as a bookmark; everything may be empty.

    Distances are in the reader's unit.
    """

    at = Figure(
        label=_("Distance on the unit at hand"),
        required=False,
        min_value=0,
        max_value=FARTHEST,
        widget=forms.TextInput(attrs=_FIGURE),
    )
    next = Figure(
        label=_("The next distance"),
        required=False,
        min_value=1,
        max_value=FARTHEST,
        widget=forms.TextInput(attrs=_FIGURE),
    )
    planned = Figure(
        label=_("Cost of a planned replacement"),
        help_text=_("In any currency, the same for both."),
        required=False,
        min_value=0.01,
        max_value=1e9,
        widget=forms.TextInput(attrs=_FIGURE),
    )
    breakdown = Figure(
        label=_("Cost of a breakdown"),
        help_text=_("Part, work, towing, the vehicle standing still."),
        required=False,
        min_value=0.01,
        max_value=1e9,
        widget=forms.TextInput(attrs=_FIGURE),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if (given.get("planned") is None) != (given.get("breakdown") is None) and not self.errors:
            missing = "planned" if given.get("planned") is None else "breakdown"
            self.add_error(missing, _("Both costs are needed."))
        return given

    def km(self, name: str, unit: str) -> float | None:
        """A distance that was asked for, in km; None where it was not, or is wrong."""
        value = self.cleaned_data.get(name) if self.is_valid() else None
        if value is None:
            return None
        return float(value) * (KM_A_MILE if unit == "mi" else 1.0)

    @property
    def costs(self) -> tuple[float, float] | None:
        given = self.cleaned_data if self.is_valid() else {}
        planned, breakdown = given.get("planned"), given.get("breakdown")
        return None if planned is None or breakdown is None else (planned, breakdown)
