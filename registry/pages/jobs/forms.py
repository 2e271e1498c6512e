"""Forms of the steps, and how each becomes the body that its service reads.

What the job knows stands in the fields already: nothing is typed twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.functional import lazy
from django.utils.translation import gettext_lazy as _

from registry.formats.figures import in_unit
from registry.formats.job_words import outcome_text, prepared_text, symptom_text
from registry.models import Job
from registry.models.jobs import JobOutcome, JobSymptom
from registry.pages.sheet_form import kilometres
from registry.services.jobs.step_body import PREPARED

Plain = dict[str, Any]
_symptom, _outcome, _prepared = (lazy(text, str) for text in (symptom_text, outcome_text, prepared_text))
SYMPTOMS = [(code, _symptom(code)) for code in JobSymptom.values]


def said(data: Mapping[str, Any], name: str) -> str:
    return str(data.get(name, "")).strip()


def distance_shown(km: float | None, unit: str) -> str:
    """As one would type it in the reader's unit."""
    return "" if km is None else f"{in_unit(km, unit):.1f}".removesuffix(".0")


class DistanceForm(forms.Form):
    """A step that happens at a distance of the vehicle.  unit: the reader's, "km" or "mi"."""

    distance = forms.CharField(
        label=_("Distance of the vehicle"),
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text=_("As the odometer shows it. Leave it empty if you don't know."),
    )
    distance_unit = forms.ChoiceField(
        label=_("Unit of distance"), choices=[("km", "km"), ("mi", "mi")], required=False, initial="km"
    )

    def km(self, name: str = "distance") -> Any:
        return kilometres(said(self.data, name), said(self.data, "distance_unit"))


class AboutForm(DistanceForm):
    """The beginning: what the vehicle does, and which it is to its own people."""

    client_id = forms.CharField(widget=forms.HiddenInput, required=False)
    design = forms.CharField(widget=forms.HiddenInput, required=False)
    symptom = forms.ChoiceField(label=_("What does it do?"), widget=forms.RadioSelect, choices=SYMPTOMS)
    vehicle = forms.CharField(
        label=_("Which vehicle?"),
        required=False,
        max_length=120,
        help_text=_("A word of yours, such as a fleet number. No registration number: nobody needs it here."),
    )
    family = forms.CharField(
        label=_("Gearbox family"), required=False, max_length=120, help_text=_("If you know it.")
    )
    note = forms.CharField(label=_("Note"), required=False, widget=forms.Textarea(attrs={"rows": 2}))
    field_order = ["symptom", "vehicle", "distance", "distance_unit", "family", "note"]

    def body(self) -> Plain:
        return {
            "client_id": said(self.data, "client_id") or None,
            "symptom": said(self.data, "symptom"),
            "vehicle": said(self.data, "vehicle"),
            "family": said(self.data, "family"),
            "design": said(self.data, "design") or None,
            "distance_km": self.km(),
            "note": said(self.data, "note"),
        }


class KeepForm(forms.Form):
    """Beside a verdict: what a job needs besides the sheet."""

    keep_id = forms.CharField(widget=forms.HiddenInput, required=False)
    symptom = forms.ChoiceField(
        label=_("What does the vehicle do?"), widget=forms.RadioSelect, choices=SYMPTOMS, required=False
    )
    vehicle = AboutForm.base_fields["vehicle"]
    vehicle_distance = forms.CharField(
        label=_("Distance of the vehicle"),
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text=_("As the odometer shows it. Leave it empty if you don't know."),
    )
    vehicle_distance_unit = DistanceForm.base_fields["distance_unit"]
    measured_it_myself = forms.BooleanField(
        label=_("I measured this unit myself. Nothing is copied from a manual or from others' charts."),
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs["form"] = "bench"  # the verdict stands outside the sheet's form

    def about(self, design: str) -> Plain:
        return {
            "client_id": said(self.data, "keep_id") or None,
            "symptom": said(self.data, "symptom"),
            "vehicle": said(self.data, "vehicle"),
            "design": design,
            "distance_km": kilometres(
                said(self.data, "vehicle_distance"), said(self.data, "vehicle_distance_unit")
            ),
        }


class NoteForm(forms.Form):
    note = forms.CharField(label=_("Note"), required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def body(self) -> Plain:
        return {"note": said(self.data, "note")}


class PreparedForm(NoteForm):
    ready = forms.MultipleChoiceField(
        label=_("At hand"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=[(word, _prepared(word)) for word in PREPARED],
    )
    field_order = ["ready", "note"]

    def body(self) -> Plain:
        ready = self["ready"].value()
        return {**super().body(), "ready": list(ready or [])}


class RemovedForm(NoteForm, DistanceForm):
    on = forms.DateField(
        label=_("On which day?"), required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    old_unit_since = forms.ChoiceField(
        label=_("How long was the old unit in it?"),
        widget=forms.RadioSelect,
        required=False,
        initial="unknown",
        choices=[
            ("vehicle", _("As long as the vehicle runs")),
            ("fitted_at", _("Since it was fitted at the distance below")),
            ("unknown", _("I don't know")),
        ],
    )
    fitted_at = forms.CharField(
        label=_("The old unit was fitted at"),
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text=_("Distance of the vehicle then."),
    )
    field_order = ["distance", "distance_unit", "on", "old_unit_since", "fitted_at", "note"]

    def body(self) -> Plain:
        return {
            **super().body(),
            "distance_km": self.km(),
            "on": said(self.data, "on") or None,
            "old_unit_since": said(self.data, "old_unit_since"),
            "fitted_at_km": self.km("fitted_at"),
        }


class FittedForm(NoteForm, DistanceForm):
    on = RemovedForm.base_fields["on"]
    field_order = ["distance", "distance_unit", "on", "note"]

    def body(self) -> Plain:
        return {**super().body(), "distance_km": self.km(), "on": said(self.data, "on") or None}


class CloseForm(NoteForm):
    outcome = forms.ChoiceField(
        label=_("How did it come out?"),
        widget=forms.RadioSelect,
        choices=[(code, _outcome(code)) for code in JobOutcome.values],
    )
    field_order = ["outcome", "note"]

    def body(self) -> Plain:
        return {**super().body(), "outcome": said(self.data, "outcome")}


class SkipForm(forms.Form):
    """The usual reasons a tap away, and a line for any other."""

    why = forms.ChoiceField(
        label=_("Why is it left out?"),
        widget=forms.RadioSelect,
        required=False,
        choices=[
            ("not_needed", _("Not needed in this job")),
            ("elsewhere", _("Somebody else did it")),
            ("no_means", _("Not possible here")),
            ("other", _("Another reason, below")),
        ],
    )
    reason = forms.CharField(label=_("In your words"), required=False, max_length=280)

    def words(self) -> str:
        """The reason as it is kept: words of the person who gave it, in their language."""
        chosen, own = said(self.data, "why"), said(self.data, "reason")
        choices = dict(self.fields["why"].choices)  # type: ignore[attr-defined]
        named = "" if chosen in ("", "other") else str(choices.get(chosen, ""))
        return ". ".join(part for part in (named, own) if part)


def about_values(job: Job, unit: str) -> Plain:
    return {
        "symptom": job.symptom,
        "vehicle": job.vehicle_label,
        "family": job.family_label,
        "design": "" if job.design is None else str(job.design.uuid),
        "distance": distance_shown(job.distance_km, unit),
        "distance_unit": unit,
    }
