"""Words of the desk in its templates."""

from __future__ import annotations

from typing import Any

from django import template

from registry.formats.decision_words import held_words, kind_words
from registry.formats.deed_words import deed_words
from registry.formats.figures import cell_text
from registry.formats.sentences import far_figures_message, finding_message
from registry.models import Decision, User
from registry.moderation.words import who
from registry.services.cases import days_left
from registry.translation import gettext as _

register = template.Library()


@register.filter
def pseudonym(user: User | None) -> str:
    return who(user)


@register.filter
def decision_kind(kind: str) -> str:
    return kind_words(kind)


@register.filter
def choice_word(code: str) -> str:
    """A choice of the catalogue as people say it."""
    return {
        "proposed": _("proposed"),
        "confirmed": _("confirmed"),
        "held": _("held back, waits"),
        "published": _("published"),
        "withdrawn": _("withdrawn"),
        "refused": _("refused"),
        "original": _("the vehicle maker's"),
        "equivalent": _("an equivalent"),
        "unknown": _("not known"),
        "into_switch": _("into the switch"),
        "into_plug": _("into the harness plug"),
        "lever": _("the lever"),
        "pressure": _("pressure"),
        "set": _("a set of separate switches"),
    }.get(code, code)


@register.filter
def deed(action: str) -> str:
    return deed_words(action)


@register.filter
def held_because(reason: dict[str, Any]) -> str:
    return held_words(reason)


@register.filter
def place_words(cell: dict[str, Any], common: str | None = None) -> str:
    return cell_text(cell, common)


@register.filter
def found_words(body: dict[str, Any], common: str | None = None) -> str:
    return f"{finding_message(body, common)} {far_figures_message(body, common)}".strip()


@register.filter
def waits_days(decision: Decision) -> int | None:
    return days_left(decision)
