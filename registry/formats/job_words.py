"""What a job's codes mean, in words: its symptoms, steps, acts, outcomes; pages and report say the same."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.translation import gettext as _
from registry.translation import ngettext

Plain = Mapping[str, Any]


def symptom_text(symptom: str) -> str:
    return {
        "silent": _("The starter stays silent, though the electrical system is alive"),
        "neutral_only": _("It starts in neutral only, not in park"),
        "display": _("The range display is wrong or empty"),
        "comes_and_goes": _("It comes and goes"),
    }[symptom]


def step_text(step: str) -> str:
    return {
        "symptom": _("Symptom noted"),
        "ruled_out": _("Other causes ruled out"),
        "prepared": _("Prepared"),
        "removed": _("Removed"),
        "suspect_benched": _("Old unit read and checked"),
        "new_benched": _("New unit read before fitting"),
        "fitted": _("Fitted"),
        "verified": _("Verified after fitting"),
        "closed": _("Closed with its outcome"),
    }[step]


def act_text(act: str) -> str:
    """Where a step stands; "" for one that nobody came to."""
    return {
        "": _("open"),
        "done": _("done"),
        "skipped": _("skipped"),
        "tried": _("tried, not passed"),
        "stopped": _("STOP"),
        "reopened": _("opened again"),
        "started": _("started"),
        "design_settled": _("design settled"),
        "checked": _("checked against the revised pattern"),
        "picture": _("picture added"),
        "picture_removed": _("picture removed"),
        "sent": _("given to the registry"),
        "taken_back": _("taken back from the registry"),
        "link_made": _("private link made"),
        "link_withdrawn": _("private link withdrawn"),
        "taken_over": _("taken into an account"),
    }[act]


def outcome_text(outcome: str) -> str:
    return {
        "": _("not known yet"),
        "went": _("Fitted a new unit and the symptom went"),
        "stayed": _("Fitted a new unit and the symptom stayed"),
        "something_else": _("It was something else"),
    }[outcome]


def prepared_text(word: str) -> str:
    return {
        "part": _("New unit at hand, its part number compared with the old one's"),
        "seal": _("Seal or gasket, and fasteners that are used once"),
        "fluid": _("Fluid, as much as may run out, and something to catch it"),
        "tools": _("Tools, and the maker's gauge or marks for the adjustment"),
        "pictures": _("Pictures of lever, plug and marks before anything is loosened"),
        "procedure": _("The maker's procedure at hand"),
    }[word]


def checks_text(count: int) -> str:
    return ngettext("{n} check done.", "{n} checks done.", count).format(n=count) if count else ""


def ready_text(word: str) -> str:
    return {
        "stationary": _("The vehicle stands still on level ground, parking brake on"),
        "chocked": _("The wheels are chocked on both sides"),
        "clear": _("The area in front and behind is clear of people"),
        "seat": _("A person sits in the seat with a foot on the brake"),
    }[word]


def verified_text(data: Plain) -> str:
    """What a check after fitting found, from the event's data; the gravest first."""
    parts = []
    if data.get("starts_elsewhere"):
        parts.append(_("The starter turned in {p}.").format(p=", ".join(data["starts_elsewhere"])))
    if data.get("silent"):
        parts.append(_("The starter stayed silent in {p}.").format(p=", ".join(data["silent"])))
    if data.get("shown_wrong"):
        parts.append(_("The display did not agree in {p}.").format(p=", ".join(data["shown_wrong"])))
    if data.get("codes") == "stored":
        parts.append(_("A code is stored."))
    if not parts:
        parts.append(
            _("The starter answered in {p} and in no other position; the display agreed; no codes.").format(
                p=", ".join(data.get("start_positions", []))
            )
        )
    return " ".join(parts)
