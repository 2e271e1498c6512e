"""The sentence that goes with each cause and verdict of a check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from registry.formats.figures import listed, ohm_text, p_text, pins_text, share_text
from registry.translation import gettext as _

Plain = Mapping[str, Any]


def fault_clause(cause: Plain, common: str | None = None) -> str:
    """A fault of the unit in a few words: `pin 4 never closes`.

    cause: an object of `causes`; its `params` may hold `detail` and `ohm`.
    """
    pins = _lines(cause.get("pins") or [], common)
    positions = list(cause.get("positions") or [])
    names, where = pins_text(pins), _in_positions(positions)
    kind = cause.get("cause")
    if kind == "line_open":
        return _("{pins} never closes").format(pins=names) if pins else _("a line never closes")
    if kind == "line_closed":
        return _closed_clause(pins, names)
    if kind == "worn_contact":
        return _worn_clause(cause, pins, names, where)
    if kind == "bridged_lines":
        return _("{pins} are bridged").format(pins=names) if pins else _("two lines are bridged")
    if kind == "resistive_common":
        return _resistive_clause(cause)
    if kind == "detent_shift":
        return {
            "out": _("the contacts stand one detent ahead of the lever"),
            "back": _("the contacts stand one detent behind the lever"),
        }.get(str(_param(cause, "detail")), _("the contacts stand one detent off the lever"))
    return _("a fault that has no name here")


def _closed_clause(pins: Sequence[str], names: str) -> str:
    if len(pins) == 2:
        return _("{first} and {second} are stuck together").format(
            first=pins_text(pins[:1]), second=pins_text(pins[1:])
        )
    return (
        _("{pins} is stuck to the common").format(pins=names) if pins else _("a line is stuck to the common")
    )


def _worn_clause(cause: Plain, pins: Sequence[str], names: str, where: str) -> str:
    if not pins:
        return _("a contact is worn")
    ohm = _param(cause, "ohm")
    if ohm is not None:
        return _("the contact of {pins}{where} is worn ({ohm})").format(
            pins=names, where=where, ohm=ohm_text(float(ohm))
        )
    return _("the contact of {pins}{where} is worn").format(pins=names, where=where)


def _resistive_clause(cause: Plain) -> str:
    ohm = _param(cause, "ohm")
    if ohm is not None:
        return _("the common has {ohm} in series").format(ohm=ohm_text(float(ohm)))
    return _("the common has a resistance in series")


def _param(cause: Plain, name: str) -> Any:
    return (cause.get("params") or {}).get(name)


def _in_positions(positions: Sequence[str]) -> str:
    return _(" in {positions}").format(positions=listed(positions)) if positions else ""


def _lines(pins: Sequence[str], common: str | None) -> list[str]:
    """The pins without the common, unless it is all there is."""
    return [pin for pin in pins if pin != common] or list(pins)


def cause_message(cause: Plain, common: str | None = None) -> str:
    """One sentence: what would explain the readings, how likely, and what to do about it."""
    pins, positions = _lines(cause.get("pins") or [], common), list(cause.get("positions") or [])
    likely = p_text(float(cause["p"]))
    text = _reader_text(cause, pins, positions)
    if text is None:
        clause = fault_clause(cause, common)
        if clause.startswith(pins_text(pins)) and pins:
            return _("{fault} ({p}).").format(fault=clause[:1].upper() + clause[1:], p=likely)
        return _("In this unit {fault} ({p}).").format(fault=clause, p=likely)
    return text.format(p=likely)


def _reader_text(cause: Plain, pins: Sequence[str], positions: Sequence[str]) -> str | None:
    """Sentences of what lies in the sheet or the choice; None for a fault of the unit."""
    kind = cause["cause"]
    if kind == "mirrored_pins":
        if _param(cause, "detail") == "lines":
            return _("The lines may be numbered from the other face ({p}); look at the connector again.")
        return _("The pins may be numbered from the other face ({p}); look at the connector again.")
    if kind == "wrong_common":
        if pins:
            return _("One lead may have stayed on {pins} instead of the common ({p}).").format(
                pins=pins_text(pins), p="{p}"
            )
        return _("One lead may have stayed on a line instead of the common ({p}).")
    if kind == "shifted_positions":
        return _("The lever may have stood one detent off what is written ({p}); count from the end stop.")
    if kind == "exchanged":
        names = listed(positions) if positions else pins_text(pins)
        if not names:
            return _("Two neighbours may be written in each other's place ({p}).")
        return _("{names} may be written in each other's place ({p}).").format(
            names=names[:1].upper() + names[1:], p="{p}"
        )
    if kind == "slip":
        return _slip_text(pins, positions)
    if kind == "harness_open":
        return _("The harness may be open on {pins} ({p}); read at the switch itself.").format(
            pins=pins_text(pins) if pins else _("a line"), p="{p}"
        )
    return _choice_text(cause, kind)


def _slip_text(pins: Sequence[str], positions: Sequence[str]) -> str:
    if len(pins) == 1 and len(positions) == 1:
        return _("{pin} in {position} may be misread ({p}); touch it again.").format(
            pin=_capital(pins_text(pins)), position=positions[0], p="{p}"
        )
    if pins and positions:
        return _("Readings of {pins} in {positions} may be wrong ({p}); take them again.").format(
            pins=pins_text(pins), positions=listed(positions), p="{p}"
        )
    return _("A reading may be wrong ({p}); take those that differ again.")


def _choice_text(cause: Plain, kind: str) -> str | None:
    if kind == "other_variant":
        if _param(cause, "variant"):
            return _("It may be variant {variant} of this design ({p}).").format(
                variant=_param(cause, "variant"), p="{p}"
            )
        return _("It may be another variant of this design ({p}).")
    if kind == "other_design":
        if _param(cause, "design"):
            return _("It may be design {design} ({p}); look at the part number again.").format(
                design=_param(cause, "design"), p="{p}"
            )
        return _("It may be another design ({p}); look at the part number again.")
    if kind == "unknown":
        return _("Nothing that has a name here explains the readings ({p}).")
    return None


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def verdict_message(check: Plain) -> str:
    """The verdict as a sentence with its probability in words and figure."""
    p_good = float(check["p_good"])
    share = share_text(p_good)
    if check["verdict"] == "good":
        return _("Good: it fits the pattern at the bench ({share} sure).").format(share=share)
    if check["verdict"] == "faulty":
        return _("Faulty: a good unit would hardly read like this ({share} that it is good).").format(
            share=share
        )
    return _UNDECIDED.get(str(check.get("reason")), _evidence)(check, share)


def _evidence(check: Plain, share: str) -> str:
    if check.get("next"):
        return _("Can't tell yet ({share} that it is good); one more reading would help.").format(share=share)
    return _("Can't tell from these readings ({share} that it is good).").format(share=share)


def _start_position(check: Plain, share: str) -> str:
    return _(
        "Can't tell yet: the readings so far fit ({share} that it is good), but a fault that could pass "
        "for a start position is not excluded."
    ).format(share=share)


def _shift(check: Plain, share: str) -> str:
    return _(
        "Can't tell: either the sheet is one detent off or the contacts are ({share} that it is good). "
        "Count the positions again from the end stop."
    ).format(share=share)


def _no_readings(check: Plain, share: str) -> str:
    return _("No reading yet that the pattern could be held against.")


_UNDECIDED = {
    "evidence": _evidence,
    "start_position": _start_position,
    "shift": _shift,
    "no_readings": _no_readings,
}
