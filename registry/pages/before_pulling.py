"""Before pulling it: cheap and safe checks first, and what each result says about the switch."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from registry.models import Design
from registry.pages.cautions import cautions_for
from registry.selectors.outcomes import OutcomeCount, outcomes_for

Words = str | Promise


@dataclass(frozen=True)
class Outcome:
    """end: where this result leads (a key of ENDS), "" where the checks go on."""

    result: Words
    says: Words
    end: str = ""


@dataclass(frozen=True)
class CheckStep:
    name: Words
    how: Words
    outcomes: tuple[Outcome, ...]


SYMPTOMS: dict[str, Words] = {
    "silent": _("The starter stays silent, though the electrical system is alive"),
    "neutral_only": _("It starts in neutral only, not in park"),
    "display": _("The range display is wrong or empty"),
    "comes_and_goes": _("It comes and goes"),
}
ENDS: dict[str, Words] = {
    "pull": _("Pull it"),
    "elsewhere": _("Look elsewhere first"),
    "maker": _("Your maker's procedure decides"),
}
STEPS: dict[str, CheckStep] = {
    "battery": CheckStep(
        _("Battery and grounds under load"),
        _("Voltage at the battery while a heavy load runs, then between engine, body and battery minus."),
        (
            Outcome(
                _("It drops far, or a ground carries voltage"),
                _("Says nothing bad of the switch."),
                "elsewhere",
            ),
            Outcome(_("It holds"), _("Go on.")),
        ),
    ),
    "neutral": CheckStep(
        _("Start in neutral"),
        _("Wheels chocked, brake held. Try park, then neutral."),
        (
            Outcome(
                _("Starts in neutral, not in park"),
                _("Lever adjustment or the park contact of the switch. Go on with the adjustment."),
            ),
            Outcome(_("Silent in both"), _("Rather the feed, the lockout or a line common to both. Go on.")),
            Outcome(_("Starts in a driving position"), _("Out of service at once."), "maker"),
        ),
    ),
    "adjustment": CheckStep(
        _("Lever adjustment"),
        _("Move the lever slowly through park and neutral while someone watches the display."),
        (
            Outcome(
                _("It works with the lever a little off its detent"),
                _("Adjust first, by the maker's marks."),
                "elsewhere",
            ),
            Outcome(_("The adjustment is right and nothing changes"), _("Go on.")),
        ),
    ),
    "display": CheckStep(
        _("Display against lever"),
        _("Lever in each position in turn: does the range display follow?"),
        (
            Outcome(
                _("Wrong or empty in one position"), _("Speaks for one contact of the switch, or its line.")
            ),
            Outcome(
                _("One off everywhere"), _("Speaks for the adjustment, not for the contacts."), "elsewhere"
            ),
            Outcome(
                _("Follows everywhere"),
                _("The controller reads the switch well. Speaks against the switch."),
                "elsewhere",
            ),
        ),
    ),
    "connector": CheckStep(
        _("Connector"),
        _("Battery isolated. Unplug: water, fluid, green pins, spread sockets, a lost seal, chafed wires."),
        (
            Outcome(
                _("Something is found"),
                _("Put it right, then try again. The switch may be good."),
                "elsewhere",
            ),
            Outcome(_("Clean and tight"), _("Go on.")),
        ),
    ),
    "lockout": CheckStep(
        _("Security lockout"),
        _("Does the immobiliser lamp show that it refuses the key?"),
        (
            Outcome(_("It refuses"), _("Says nothing of the switch."), "elsewhere"),
            Outcome(_("It accepts"), _("Go on.")),
        ),
    ),
    "feed": CheckStep(
        _("Starter feed"),
        _("Voltage at the small terminal of the starter while the key is held at start, in park."),
        (
            Outcome(
                _("Voltage there, starter silent"),
                _("The starter or its cable, not the switch."),
                "elsewhere",
            ),
            Outcome(_("No voltage"), _("Relay, fuse, lockout, controller or the switch. Go on.")),
        ),
    ),
    "at_connector": CheckStep(
        _("Reading at the unplugged connector"),
        _("Read the switch at its own plug in every position and check the sheet against the pattern."),
        (
            Outcome(
                _("Faulty, and the fault explains the symptom"), _("The switch, or its pigtail."), "pull"
            ),
            Outcome(
                _("Fits the pattern"),
                _("The switch is good at its plug. The harness or the controller."),
                "elsewhere",
            ),
            Outcome(_("Can't tell yet"), _("Take the readings that the check asks for."), "maker"),
        ),
    ),
}
ORDER = {
    "silent": ("battery", "neutral", "adjustment", "display", "connector", "lockout", "feed", "at_connector"),
    "neutral_only": ("neutral", "adjustment", "display", "connector", "at_connector"),
    "display": ("display", "adjustment", "connector", "battery", "at_connector"),
    "comes_and_goes": ("battery", "connector", "adjustment", "display", "at_connector"),
}


def before_pulling(request: HttpRequest) -> HttpResponse:
    """The checks of a symptom; design: of which the outcomes are told beside those of all."""
    symptom = request.GET.get("symptom", "")
    chosen = symptom if symptom in SYMPTOMS else ""
    design = _design(request.GET.get("design", ""))
    context = {
        "page": "check",
        "symptoms": SYMPTOMS,
        "symptom": chosen,
        "symptom_words": SYMPTOMS.get(chosen),
        "steps": [STEPS[key] for key in ORDER.get(chosen, ())],
        "ends": ENDS,
        "design": design,
        "outcomes": _outcomes(chosen, design) if chosen else [],
        "cautions": cautions_for("before"),
    }
    return render(request, "technician/before_pulling.html", context)


def _outcomes(symptom: str, design: Design | None) -> list[tuple[str, OutcomeCount]]:
    """Of the design and of all designs, each once ten outcomes are known."""
    asked: list[tuple[str, Design | None]] = [] if design is None else [(design.name, design)]
    counts = [(name, outcomes_for(which, symptom)) for name, which in [*asked, ("", None)]]
    return [(name, count) for name, count in counts if count.known]


def _design(text: str) -> Design | None:
    try:
        return Design.objects.filter(uuid=UUID(text)).first() if text else None
    except ValueError:
        return None
