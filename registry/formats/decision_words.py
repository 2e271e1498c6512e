"""Decisions in words: what was decided, what a correction does, why a revision is held."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from registry.formats.figures import listed, ohm_text, pins_text, state_text
from registry.translation import gettext as _

Plain = Mapping[str, Any]

KINDS: dict[str, Callable[[], str]] = {
    "keep": lambda: _("keep as it is"),
    "set_aside": lambda: _("set aside"),
    "correct": lambda: _("read with a correction"),
    "move": lambda: _("move to another design"),
    "ask_reread": lambda: _("ask to read again"),
    "split_variant": lambda: _("make a variant of its own"),
    "merge_variants": lambda: _("count for a variant"),
    "publish": lambda: _("publish"),
    "hold": lambda: _("hold back"),
    "withdraw_revision": lambda: _("withdraw the revision"),
    "suspend": lambda: _("suspend the account"),
    "set_aside_account": lambda: _("set aside all sheets of the account"),
    "confirm_design": lambda: _("confirm the design"),
    "edit_design": lambda: _("edit the design"),
    "merge_designs": lambda: _("merge into another design"),
    "merge_parts": lambda: _("merge into another part number"),
    "settle_dispute": lambda: _("settle the dispute"),
    "supersede": lambda: _("say what took its place"),
    "end_moderating": lambda: _("end their moderating"),
    "undo": lambda: _("take a decision back"),
}


def kind_words(kind: str) -> str:
    return KINDS[kind]()


def correction_words(correction: Plain) -> str:
    """What reading a sheet with this correction does."""
    kind, detail = correction["kind"], correction.get("detail", "")
    if kind == "mirrored_pins":
        if detail == "lines":
            return _("number the lines from the other face, the common as it is")
        return _("number all pins from the other face")
    if kind == "shifted_positions":
        if detail == "out":
            return _("take each reading one detent further")
        return _("take each reading one detent back")
    if kind == "wrong_common":
        return _("take {pins} as the pin on which the lead stayed").format(
            pins=pins_text(correction.get("pins", []))
        )
    if detail == "positions":
        return _("exchange the positions {names}").format(names=listed(correction.get("positions", [])))
    return _("exchange {pins}").format(pins=pins_text(correction.get("pins", [])))


FIGURES: dict[str, Callable[[], str]] = {
    "figure_changed": lambda: _("{place} would show {to}, so far {before}."),
    "figure_wider": lambda: _("{place} would be good up to {to}, so far {before}."),
    "figure_crept": lambda: _("{place} would show {to}; it has crept there from {before}."),
    "range_crept": lambda: _("{place} would be good up to {to}; that has crept there from {before}."),
}


def held_words(reason: Plain) -> str:
    """Why a revision waits for a moderator."""
    code = reason["code"]
    if code == "variant_gone":
        return _("Variant {variant} is gone.").format(variant=reason["variant"])
    if code == "variant_new":
        return _("Variant {variant} is new and rests on new accounts.").format(variant=reason["variant"])
    if code == "after_withdrawal":
        return _("The revision before it was withdrawn.")
    place = _("Pin {pin} in {position}").format(pin=reason["pin"], position=reason["position"])
    if code in FIGURES:
        figures = {"to": ohm_text(reason["to"]), "before": ohm_text(reason["from"])}
        return FIGURES[code]().format(place=place, **figures)
    change = _("{place} would read {to}, so far {before}.").format(
        place=place, to=state_text(reason["to"]), before=state_text(reason["from"])
    )
    if code == "start_position":
        return _("{change} The starter is released there.").format(change=change)
    return change
