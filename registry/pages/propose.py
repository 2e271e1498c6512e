"""Propose a design: a form of plain text, the face of the connector written as one sees it."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _

from registry.errors import RegistryErrors
from registry.models import User
from registry.pages.form_errors import lay_errors
from registry.services.catalogue import design_propose

EMPTY = {"-", "–", "—", "_", "."}
FIELDS = {"pins": "face", "applications": "vehicles"}


class ProposeForm(forms.Form):
    name = forms.CharField(
        label=_("Name of the design"),
        required=False,
        max_length=120,
        help_text=_("What tells it from others: “six-pin range switch, green seal”."),
    )
    maker = forms.CharField(label=_("Maker"), required=False, max_length=120)
    families = forms.CharField(
        label=_("Gearbox families"), required=False, help_text=_("Several with commas between.")
    )
    part_numbers = forms.CharField(
        label=_("Part numbers"), required=False, help_text=_("Several with commas between.")
    )
    vehicles = forms.CharField(
        label=_("Fitted in"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=_("One vehicle a line, years if known: “Sweeper S4, 2009-2016”."),
    )
    face = forms.CharField(
        label=_("The face of the connector"),
        required=False,
        initial="1 2 3\n4 5 6",
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
        help_text=_("As you see it, one row a line: the pins' labels, a dash for an empty cavity."),
    )
    viewing = forms.ChoiceField(
        label=_("You look"),
        widget=forms.RadioSelect,
        initial="into_switch",
        required=False,
        choices=[
            ("into_switch", _("into the switch")),
            ("into_plug", _("into the harness plug")),
            ("unknown", _("I can't say")),
        ],
    )
    landmark = forms.CharField(
        label=_("What marks this face?"),
        required=False,
        max_length=200,
        help_text=_("“The latch is at the top, a rib left of pin 1.”"),
    )
    common = forms.CharField(
        label=_("Common pin"),
        required=False,
        max_length=20,
        help_text=_("The pin that all lines are read against. Leave it empty if there is none."),
    )
    positions = forms.CharField(
        label=_("Positions"),
        required=False,
        initial="P park *\nR reverse\nN neutral *\nD drive",
        widget=forms.Textarea(attrs={"rows": 7, "spellcheck": "false"}),
        help_text=_(
            "In detent order, one a line: label, then its name. A star where the starter is released."
        ),
    )
    actuation = forms.ChoiceField(
        label=_("Moved by"),
        required=False,
        initial="lever",
        choices=[
            ("lever", _("the lever")),
            ("pressure", _("pressure")),
            ("set", _("a set of separate switches")),
        ],
    )
    description = forms.CharField(
        label=_("Note"), required=False, widget=forms.Textarea(attrs={"rows": 3}), max_length=4000
    )

    def body(self) -> dict[str, Any]:
        """As the service takes it; what is wrong with it the service says."""

        def said(name: str) -> str:
            return str(self.data.get(name, "")).replace("\r", "").strip()

        return {
            **{n: said(n) for n in ("name", "maker", "viewing", "landmark", "actuation", "description")},
            "common": said("common") or None,
            "families": _listed(said("families")),
            "part_numbers": _listed(said("part_numbers")),
            "applications": [vehicle_line(line) for line in said("vehicles").split("\n") if line.strip()],
            "pins": face_pins(said("face")),
            "positions": [position_line(line) for line in said("positions").split("\n") if line.strip()],
        }


@login_required
def propose(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    if request.method != "POST":
        form = ProposeForm(initial={"part_numbers": request.GET.get("part_number", "")[:80]})
        return render(request, "contributor/propose.html", {"form": form})
    form = ProposeForm(request.POST)
    try:
        design = design_propose(by=request.user, body=form.body())
    except RegistryErrors as errors:
        lay_errors(form, errors, FIELDS)
        return render(request, "contributor/propose.html", {"form": form}, status=400)
    messages.success(
        request, _t("The design is in, marked as proposed. It can be used at once: enter the first sheet.")
    )
    return redirect("design", uuid=design.uuid)


def face_pins(text: str) -> list[dict[str, Any]]:
    """Rows of labels as drawn; a dash is an empty cavity.

    >>> [(p["label"], p["row"], p["column"]) for p in face_pins("1 2\\n- 3") if not p["empty"]]
    [('1', 1, 1), ('2', 1, 2), ('3', 2, 2)]
    """
    pins: list[dict[str, Any]] = []
    for row, line in enumerate((line for line in text.split("\n") if line.strip()), start=1):
        for column, label in enumerate(line.split(), start=1):
            empty = label in EMPTY
            name = f"empty {row}.{column}" if empty else label
            pins.append({"label": name, "row": row, "column": column, "empty": empty})
    return pins


def position_line(line: str) -> dict[str, Any]:
    """“P park *”: label, name, and a star where the starter is released.

    >>> position_line("N neutral *")
    {'label': 'N', 'name': 'neutral', 'releases_starter': True}
    """
    words = line.split()
    star = "*" in words or line.rstrip().endswith("*")
    words = [word.rstrip("*") for word in words if word != "*"]
    return {"label": words[0] if words else "", "name": " ".join(words[1:]), "releases_starter": star}


def vehicle_line(line: str) -> dict[str, Any]:
    """“Sweeper S4, 2009-2016”.

    >>> vehicle_line("Sweeper S4, 2009-2016")
    {'vehicle': 'Sweeper S4', 'year_from': '2009', 'year_to': '2016'}
    """
    name, _comma, years = line.rpartition(",")
    parts = [part.strip() for part in years.replace("–", "-").split("-")]
    if not name or len(parts) > 2 or not all(part.isdigit() or not part for part in parts):
        return {"vehicle": line.strip()}
    first, last = parts[0], parts[-1]
    return {"vehicle": name.strip(), "year_from": first or None, "year_to": last or None}


def _listed(text: str) -> list[str]:
    return [word.strip() for word in text.replace("\n", ",").replace(";", ",").split(",") if word.strip()]
