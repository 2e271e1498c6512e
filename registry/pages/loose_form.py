"""Readings of a switch that has no name yet, written as a small table of plain text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

NOT_READ = {"-", "–", "—", "?"}


class LooseForm(forms.Form):
    against = forms.CharField(label=_("One lead stays on pin"), required=False, initial="1", max_length=20)
    table = forms.CharField(
        label=_("What the meter shows"),
        required=False,
        initial="    2    3    4    5\nP   0.4  OL   OL   OL\nR   OL   0.3  OL   OL",
        widget=forms.Textarea(attrs={"rows": 10, "spellcheck": "false", "class": "wide"}),
        help_text=_(
            "First line: the other pins. Then a line for each position, its name first. "
            "Write 0.4, 1.2k, OL or cont; a dash where you did not read."
        ),
    )
    as_read = forms.BooleanField(label=_("The pins' numbers are those of the connector"), required=False)


def loose_rows(data: Mapping[str, Any]) -> list[dict[str, str]]:
    """Rows of a body for every reading written.

    >>> rows = loose_rows({"against": "1", "table": "  2 3\\nP 0.4 OL\\nR OL -"})
    >>> [(r["position"], r["pin"], r["reading"]) for r in rows]
    [('P', '2', '0.4'), ('P', '3', 'OL'), ('R', '2', 'OL')]
    """
    lines = [line for line in str(data.get("table", "")).replace("\r", "").split("\n") if line.strip()]
    against = str(data.get("against", "")).strip()
    pins = lines[0].split() if lines else []
    rows = []
    for line in lines[1:]:
        position, *readings = line.split()
        for pin, reading in zip(pins, readings, strict=False):
            if reading not in NOT_READ:
                rows.append({"position": position, "pin": pin, "against": against, "reading": reading})
    return rows
