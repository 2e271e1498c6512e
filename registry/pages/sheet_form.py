"""The form around a bench sheet's grid: unit, meter, connector; and how it becomes a body of JSON."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from registry.errors import RegistryError, RegistryErrors
from registry.formats.figures import KM_A_MILE
from registry.formats.typed_number import typed_number
from registry.models import Meter
from registry.pages.sheet_grid import SheetGrid

# JSON Pointer of a body → field of the form
FIELDS = {
    "/client_id": "client_id",
    "/name": "name",
    "/unit/key": "unit_key",
    "/unit/tag_code": "tag_code",
    "/unit/date_code": "date_code",
    "/unit/part_number": "part_number",
    "/held_good": "held_good",
    "/source_class": "source_class",
    "/read_at": "read_at",
    "/read_on": "read_on",
    "/distance_km": "distance",
    "/meter/name": "meter_name",
    "/meter/limit_ohm": "limit_ohm",
    "/meter/apart_shows": "apart_shows",
    "/meter/lead_ohm": "lead_ohm",
    "/meter/buzzer_limit_ohm": "buzzer_limit_ohm",
    "/measured_it_myself": "measured_it_myself",
    "/units_claimed": "units_claimed",
    "/note": "note",
    "/rereads": "rereads",
    "/reason": "reason",
}


class MeterForm(forms.Form):
    """What the meter shows, asked once."""

    meter_name = forms.CharField(
        label=_("Your meter"),
        required=False,
        max_length=80,
        help_text=_("A word you will know it by. It is remembered."),
    )
    apart_shows = forms.CharField(
        label=_("Leads apart: what does it show?"),
        required=False,
        initial="OL",
        max_length=20,
        help_text=_("OL on most; many inexpensive ones show a lone 1 at the left."),
    )
    lead_ohm = forms.CharField(
        label=_("Leads together: how many ohms?"),
        required=False,
        initial="0",
        help_text=_("0.2, for instance. It is subtracted from each reading; what you type is kept."),
    )
    limit_ohm = forms.CharField(
        label=_("Its highest resistance"),
        required=False,
        initial="20M",
        help_text=_("20M on most."),
    )
    buzzer_limit_ohm = forms.CharField(
        label=_("Its buzzer sounds below, ohms"),
        required=False,
        help_text=_("Only if you go by the buzzer; leave it empty if you don't know."),
    )


class SheetForm(MeterForm):
    """Everything of a sheet but its readings; the service judges it, this form only carries it."""

    client_id = forms.CharField(widget=forms.HiddenInput, required=False)
    rereads = forms.CharField(widget=forms.HiddenInput, required=False)
    read_at = forms.ChoiceField(
        label=_("Where do you read it?"),
        widget=forms.RadioSelect,
        initial="bench",
        choices=[
            ("bench", _("On the bench")),
            ("connector", _("In the vehicle, at its unplugged connector")),
            ("harness", _("Through the harness")),
        ],
    )
    unit_key = forms.CharField(
        label=_("Which unit?"),
        required=False,
        max_length=200,
        help_text=_("A word by which you know this switch again: “sweeper 3, old one”."),
    )
    held_good = forms.ChoiceField(
        label=_("Why is it held good?"),
        widget=forms.RadioSelect,
        initial="worked",
        choices=[
            ("worked", _("It worked in a vehicle")),
            ("new", _("It is new")),
            ("passed_check", _("Only a check on these pages says so")),
        ],
        help_text=_("A unit that only a check held good counts once it has worked in a vehicle."),
    )
    source_class = forms.ChoiceField(
        label=_("Where does the part come from?"),
        widget=forms.RadioSelect,
        initial="unknown",
        choices=[
            ("original", _("The vehicle maker's part")),
            ("equivalent", _("An equivalent of another maker")),
            ("unknown", _("I don't know")),
        ],
    )
    name = forms.CharField(
        label=_("Name of this sheet"),
        required=False,
        max_length=200,
        help_text=_("Yours to choose; one is made if you leave it empty."),
    )
    part_number = forms.CharField(label=_("Part number on it"), required=False, max_length=80)
    date_code = forms.CharField(label=_("Date code on it"), required=False, max_length=40)
    tag_code = forms.CharField(label=_("Tag or inventory number"), required=False, max_length=80)
    distance = forms.CharField(
        label=_("Distance on the unit"),
        required=False,
        help_text=_("On the switch itself, not on the vehicle. Leave it empty if you don't know."),
    )
    distance_unit = forms.ChoiceField(
        label=_("Unit of distance"), choices=[("km", "km"), ("mi", "mi")], required=False, initial="km"
    )
    read_on = forms.DateField(
        label=_("Read on"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    units_claimed = forms.CharField(
        label=_("How many units does this sheet sum up?"),
        required=False,
        initial="1",
        help_text=_("More than one: states only, no figures. It counts as one unit, and the claim is shown."),
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    note = forms.CharField(label=_("Note"), required=False, widget=forms.Textarea(attrs={"rows": 3}))
    measured_it_myself = forms.BooleanField(
        label=_("I measured this unit myself. Nothing is copied from a manual or from others' charts."),
        required=False,
    )

    def body(self, design: str, grid: SheetGrid, first: Mapping[str, str] | None) -> SheetFilled:
        """first: what stood in the grid before the pattern was shown; None on the first pass."""
        now = {place.name: str(self.data.get(place.name, "")) for place in grid.places}
        readings, names = grid.readings(now if first is None else first)
        changed = {
            n: v for n, v in now.items() if first is not None and v.strip() != first.get(n, "").strip()
        }
        second, late = grid.readings(changed)
        return SheetFilled(
            {**self._head(), "design": design, "readings": readings, "second_pass": second}, names, late
        )

    def _head(self) -> dict[str, Any]:
        def said(name: str) -> str:
            return str(self.data.get(name, "")).strip()

        meter = {n: said(n) for n in ("apart_shows", "limit_ohm", "lead_ohm", "buzzer_limit_ohm")}
        return {
            "client_id": said("client_id") or None,
            "name": said("name"),
            "unit": {
                "key": said("unit_key"),
                **{name: said(name) for name in ("tag_code", "date_code", "part_number")},
            },
            "purpose": "known_good",
            "held_good": said("held_good"),
            "source_class": said("source_class"),
            "read_at": said("read_at"),
            "read_on": said("read_on") or None,
            "distance_km": kilometres(said("distance"), said("distance_unit")),
            "meter": {"name": said("meter_name"), **{n: v for n, v in meter.items() if v}},
            "measured_it_myself": bool(self.data.get("measured_it_myself")),
            "units_claimed": said("units_claimed") or 1,
            "note": said("note"),
            "rereads": said("rereads") or None,
        }


class AmendForm(SheetForm):
    reason = forms.CharField(
        label=_("What was wrong?"), required=False, max_length=300, help_text=_("The old version stays.")
    )
    on_version = forms.IntegerField(widget=forms.HiddenInput, required=False)


class SheetFilled:
    """A body of JSON, and which field each of its readings came from."""

    def __init__(self, body: dict[str, Any], names: list[str], late: list[str]) -> None:
        self.body, self.names, self.late = body, names, late

    def lay_errors(self, form: forms.Form, errors: RegistryErrors) -> dict[str, list[str]]:
        """Each error beside its field: on the form, or, given back, by the name of a reading's field."""
        form.is_valid()
        wrong: dict[str, list[str]] = {}
        for error in errors:
            sentence = f"{error.message} {error.advice}".strip()
            parts = error.field.split("/")
            if len(parts) > 2 and parts[1] in ("readings", "second_pass"):
                names = self.names if parts[1] == "readings" else self.late
                wrong.setdefault(names[int(parts[2])], []).append(sentence)
                continue
            name = FIELDS.get(error.field)
            form.add_error(name if name in form.fields else None, sentence)
        return wrong


def first_pass(text: str) -> dict[str, str] | None:
    """What the hidden field says stood in the grid before the pattern was shown."""
    try:
        values = json.loads(text) if text else None
    except ValueError:
        return None
    if not isinstance(values, dict):
        return None
    return {str(name): str(value) for name, value in values.items()}


def initial_values(meter: Meter | None, lead_ohm: float | None, distance_unit: str) -> dict[str, Any]:
    """The meter as it was last time; the rest as it mostly is."""
    values: dict[str, Any] = {
        "client_id": str(uuid.uuid4()),
        "read_on": timezone.localdate().isoformat(),
        "distance_unit": distance_unit,
    }
    if meter is not None:
        values |= meter_values(meter, lead_ohm)
    return values


def meter_values(meter: Meter, lead_ohm: float | None) -> dict[str, Any]:
    return {
        "meter_name": meter.name,
        "apart_shows": meter.apart_shows,
        "limit_ohm": plain_ohm(meter.limit_ohm),
        "lead_ohm": plain_ohm(lead_ohm),
        "buzzer_limit_ohm": plain_ohm(meter.buzzer_limit_ohm),
    }


def plain_ohm(ohm: float | None) -> str:
    """As one would type it: 20M, 0.2."""
    if ohm is None:
        return ""
    factor, letter = next(((f, word) for f, word in ((1e6, "M"), (1e3, "k")) if ohm >= f), (1.0, ""))
    return f"{ohm / factor:.6g}{letter}"


def kilometres(text: str, unit: str) -> str | float | None:
    """Kilometres; what is no clear number goes on as typed, for the service to refuse."""
    if not text:
        return None
    try:
        figure = typed_number(text)
    except RegistryError:
        return text
    return round(figure * KM_A_MILE, 3) if unit == "mi" else figure
