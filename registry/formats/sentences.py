"""The sentence that goes with each finding, from the engine's codes and figures.

Short sentences to a person with tools in hand: what was seen, how sure, what to do (design.md, "Voice").
Findings, causes and standings that have no sentence here fail a test.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from registry.formats.causes import fault_clause
from registry.formats.figures import cells_text, interval_text, listed, p_text, pins_text, share_text
from registry.translation import gettext as _
from registry.translation import ngettext

Plain = Mapping[str, Any]


def finding_message(finding: Plain, common: str | None = None) -> str:
    """One or two sentences on why a sheet fits or doesn't.

    finding: an object of `submissions` (contracts.md) with its `params`; common: the design's common pin.
    """
    make = _FINDINGS.get(finding["finding"], _unknown)
    text = make(finding, finding.get("params") or {}, common)
    if (finding.get("params") or {}).get("counts") is False:
        text += " " + _("It does not count for the pattern.")
    return text


def _fits(finding: Plain, params: Plain, common: str | None) -> str:
    text = _("Fits the pattern ({p})").format(p=p_text(finding["p"]))
    return _closed(text, _agreeing(params), _differing(finding, common))


def _slip(finding: Plain, params: Plain, common: str | None) -> str:
    cells = finding.get("cells") or []
    if not cells:
        text = _("Fits but for single readings ({p})").format(p=p_text(finding["p"]))
        return _closed(text, _agreeing(params))
    text = ngettext(
        "Fits but for one reading ({p})", "Fits but for {count} readings ({p})", len(cells)
    ).format(p=p_text(finding["p"]), count=len(cells))
    again = ngettext("Read {cells} again.", "Read {cells} again.", len(cells)).format(
        cells=cells_text(cells, common)
    )
    return f"{_closed(text, _agreeing(params))} {again}"


def _mirrored(finding: Plain, params: Plain, common: str | None) -> str:
    if params.get("detail") == "lines":
        text = _("Fits once the lines are numbered from the other face, the common as it is ({p})")
    else:
        text = _("Fits once pins are numbered from the other face ({p})")
    return _repaired(text, finding, params, common)


def _wrong_common(finding: Plain, params: Plain, common: str | None) -> str:
    pins = [pin for pin in params.get("pins") or [] if pin != common]
    if pins:
        text = _("Fits if one lead stayed on {pins} instead of the common ({p})").format(
            pins=pins_text(pins), p="{p}"
        )
    else:
        text = _("Fits if one lead stayed on a line instead of the common ({p})")
    return _repaired(text, finding, params, common)


def _shifted(finding: Plain, params: Plain, common: str | None) -> str:
    text = {
        "out": _("Fits if the lever stood one detent further than written, throughout ({p})"),
        "back": _("Fits if the lever stood one detent short of what is written, throughout ({p})"),
    }.get(str(params.get("detail")), _("Fits if the lever stood one detent off, throughout ({p})"))
    return _repaired(text, finding, params, common)


def _exchanged(finding: Plain, params: Plain, common: str | None) -> str:
    pins, positions = params.get("pins") or [], params.get("positions") or []
    if positions and params.get("detail") != "pins":
        text = _("Fits once {names} are taken in each other's place ({p})").format(
            names=listed(positions), p="{p}"
        )
    elif pins:
        text = _("Fits once {names} are taken in each other's place ({p})").format(
            names=pins_text(pins), p="{p}"
        )
    else:
        text = _("Fits once two neighbours are taken in each other's place ({p})")
    return _repaired(text, finding, params, common)


def _faulty(finding: Plain, params: Plain, common: str | None) -> str:
    fault = fault_clause(_fault_of(params), common)
    text = _("Fits the pattern with one fault of the unit: {fault} ({p})").format(fault=fault, p="{p}")
    return _repaired(text, finding, params, common, then=_agreeing)


def _other_variant(finding: Plain, params: Plain, common: str | None) -> str:
    if finding.get("variant"):
        text = _("Fits variant {variant} of this design ({p})").format(variant=finding["variant"], p="{p}")
    else:
        text = _("Fits another variant of this design ({p})")
    return _repaired(text, finding, params, common, then=_agreeing)


def _other_design(finding: Plain, params: Plain, common: str | None) -> str:
    if params.get("design"):
        text = _("Fits design {design} better than this one ({p})").format(design=params["design"], p="{p}")
    else:
        text = _("Fits another design better than this one ({p})")
    again = _("Look at the part number again.")
    return f"{_closed(text.format(p=p_text(finding['p'])), _agreeing(params))} {again}"


def _coordinated(finding: Plain, params: Plain, common: str | None) -> str:
    text = _("Agrees with a group of sheets from few people that stands against all others ({p})")
    wait = _("The group waits for more people and changes nothing until then.")
    return f"{_closed(text.format(p=p_text(finding['p'])), _agreeing(params))} {wait}"


def _unexplained(finding: Plain, params: Plain, common: str | None) -> str:
    text = _("No single mistake or fault explains this sheet ({p})").format(p=p_text(finding["p"]))
    readings = params.get("readings")
    agreeing = params.get("agreeing_as_read", params.get("agreeing"))
    counted = None
    if readings is not None and agreeing is not None:
        counted = _("as written {agreeing} of {readings} readings agree").format(
            agreeing=agreeing, readings=readings
        )
    return _closed(text, counted)


def _unknown(finding: Plain, params: Plain, common: str | None) -> str:
    return _("{finding} ({p}).").format(finding=finding["finding"], p=p_text(finding["p"]))


_FINDINGS: dict[str, Callable[[Plain, Plain, str | None], str]] = {
    "fits": _fits,
    "slip": _slip,
    "mirrored_pins": _mirrored,
    "wrong_common": _wrong_common,
    "shifted_positions": _shifted,
    "exchanged": _exchanged,
    "faulty_unit": _faulty,
    "other_variant": _other_variant,
    "other_design": _other_design,
    "coordinated": _coordinated,
    "unexplained": _unexplained,
}


def _repaired(
    text: str,
    finding: Plain,
    params: Plain,
    common: str | None,
    then: Callable[[Plain], str | None] | None = None,
) -> str:
    """The sentence of a mistake that can be taken back: how many readings agree then, which still differ."""
    counted = (then or _then_agreeing)(params)
    parts = [counted, _still_differing(finding, common)]
    if params.get("fault") and finding["finding"] != "faulty_unit":
        fault = fault_clause(_fault_of(params), common)
        parts.append(_("and the unit has a fault: {fault}").format(fault=fault))
    return _closed(text.format(p=p_text(finding["p"])), *parts)


def _fault_of(params: Plain) -> Plain:
    """The unit's fault in the form of a check's cause."""
    return {
        "cause": params.get("fault"),
        "pins": params.get("fault_pins") or [],
        "positions": params.get("fault_positions") or [],
        "params": {"ohm": params.get("ohm"), "detail": params.get("fault_detail")},
    }


def _agreeing(params: Plain) -> str | None:
    return _count_agreeing(params, _("{agreeing} of {readings} readings agree"))


def _then_agreeing(params: Plain) -> str | None:
    return _count_agreeing(params, _("{agreeing} of {readings} readings then agree"))


def _count_agreeing(params: Plain, text: str) -> str | None:
    readings, agreeing = params.get("readings"), params.get("agreeing")
    if readings is None or agreeing is None:
        return None
    return text.format(agreeing=agreeing, readings=readings)


def _differing(finding: Plain, common: str | None) -> str | None:
    cells = finding.get("cells") or []
    if not cells:
        return None
    text = ngettext("{cells} differs", "{cells} differ", len(cells))
    return text.format(cells=cells_text(cells, common))


def _still_differing(finding: Plain, common: str | None) -> str | None:
    cells = finding.get("cells") or []
    if not cells:
        return None
    text = ngettext("{cells} still differs", "{cells} still differ", len(cells))
    return text.format(cells=cells_text(cells, common))


def far_figures(finding: Plain) -> list[Plain]:
    """The cells of a sheet whose figures lie beyond the limit for action (|z| of 3 and more)."""
    return [figure for figure in finding.get("unusual") or [] if figure["word"] == "action"]


def far_figures_message(finding: Plain, common: str | None = None) -> str:
    """Which figures lie far beyond what other units show; "" where none does."""
    cells = far_figures(finding)
    if not cells:
        return ""
    return ngettext(
        "The figure at {cells} is far beyond other units'.",
        "The figures at {cells} are far beyond other units'.",
        len(cells),
    ).format(cells=cells_text(cells, common))


def _closed(*parts: str | None) -> str:
    return "; ".join(part for part in parts if part) + "."


def standing_message(cell: Plain) -> str:
    """How sure one cell is, with its counts and interval: what a reader may rest on it."""
    units, agreeing = int(cell["units"]), int(cell["agreeing"])
    if units == 0 or cell["standing"] == "unread":
        return _("Not read in any unit yet.")
    counted = ngettext(
        "{agreeing} of {units} unit agrees", "{agreeing} of {units} units agree", units
    ).format(agreeing=agreeing, units=units)
    by = ngettext("read by {count} person", "read by {count} people", int(cell["contributors"])).format(
        count=cell["contributors"]
    )
    low = share_text(cell["agreement"][0])
    ending = {
        "agreed": _("The true share lies within {interval}.").format(
            interval=interval_text(cell["agreement"])
        ),
        "provisional": _("That is not many: the true share could be as low as {low}.").format(low=low),
        "thin": _("That is too little to rest on: the true share could be as low as {low}.").format(low=low),
        "disputed": _("It is disputed; do not rest on it."),
    }[cell["standing"]]
    return f"{counted}, {by}. {ending}"
