"""What a reader asks of the lives: about a unit at hand, and what replacing costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from registry.errors import RegistryError
from registry.formats.figures import KM_A_MILE
from registry.formats.typed_number import AMBIGUOUS, typed_number

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

FARTHEST = 1e7  # in the reader's unit
DEAREST = 1e9


class Figure(forms.FloatField):
    """A decimal comma is as good as a point, where it can't stand for thousands."""

    def to_python(self, value: Any) -> Any:
        try:
            typed_number(str(value or ""))
        except RegistryError as error:
            if error.code == AMBIGUOUS:  # what else is wrong with it, the form says
                raise forms.ValidationError(str(error), code=AMBIGUOUS) from None
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


def _figure(label: _StrPromise, least: float, most: float, help_text: _StrPromise | str = "") -> Figure:
    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return Figure(
        label=label, help_text=help_text, required=False, min_value=least, max_value=most, widget=widget
    )


class LifeForm(forms.Form):
    """Sent with the address, so that an answer can be kept as a bookmark; everything may be empty.

    Distances are in the reader's unit.
    """

    at = _figure(_("Distance on the unit at hand"), 0, FARTHEST)
    next = _figure(_("The next distance"), 1, FARTHEST)
    planned = _figure(
        _("Cost of a planned replacement"), 0.01, DEAREST, _("In any currency, the same for both.")
    )
    breakdown = _figure(
        _("Cost of a breakdown"), 0.01, DEAREST, _("Part, work, towing, the vehicle standing still.")
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
