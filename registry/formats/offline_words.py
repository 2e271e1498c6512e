"""The sentences that a page says without a network: of each verdict and each cause that its tables know."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from registry.formats.causes import cause_message, fault_clause, verdict_message
from registry.formats.figures import cell_text, p_text, share_text
from registry.translation import gettext as _

Plain = dict[str, Any]
HALF = 0.5  # stands where the page puts its own figure
UNDECIDED = ("evidence", "start_position", "shift", "no_readings")


def offline_words(tables: Plain) -> Plain:
    """{p} and {share} are filled in by the page; causes: by key, as offline/sums.js writes it."""
    common = None if tables["common"] is None else tables["pins"][tables["common"]]
    verdicts = {word: _verdict(word, "") for word in ("good", "faulty")}
    verdicts |= {reason: _verdict("undecided", reason) for reason in UNDECIDED}
    causes, dangers = {}, {}
    for cause in _causes(tables, common):
        key = _key(cause)
        message = cause_message({**cause, "p": HALF, "params": cause["params"]}, common)
        causes[key] = message.replace(p_text(HALF), "{p}")
        dangers[key] = fault_clause(cause, common)
    return {
        "verdicts": verdicts,
        "causes": causes,
        "dangers": dangers,
        "title": _("Verdict"),
        "here": _("Checked on this device without the network, against revision {n} of {when}."),
        "kept": _("Kept on this device on {when}."),
        "old": _("That is more than 30 days ago: this chart may have been replaced or withdrawn since."),
        "stale": _("Its evidence had changed already: a newer revision was on its way."),
        **withdrawn_words(),
        "agree": _("{n} readings compared."),
        "explain": _("What would explain it"),
        "of_sheet": _("In the sheet or the choice, not in the unit."),
        "release": _("Could release the starter in gear."),
        "danger_title": _("Not excluded yet: a start in gear"),
        "danger": _("{position} could pass for {passes_for}: {fault}."),
        "next": _("Read next"),
        "next_needs": _("What to read next needs the network."),
        "again": _("again"),
        "bits": _("bits"),
        "places": [cell_text(place, common) for place in _places(tables)],
        "needs": _("Only the registry can tell these readings: this needs the network."),
        "wrong": _("“{text}” can't be read. Put it right first."),
        "under": _("under 1 %"),
        "over": _("over 99 %"),
    }


def withdrawn_words() -> dict[str, str]:
    """All that is said where there are no tables any more."""
    return {"withdrawn": _("This chart was withdrawn: {reason} Don't work from it.")}


def _places(tables: Plain) -> Iterator[Plain]:
    """What may be read next, in the order of the tables."""
    pins, named = tables["pins"], tables["named"]
    for cell in tables["places"]:
        slot, pair = divmod(cell, len(named))
        low, high = named[pair]
        pin, against = (high, low) if low == tables["common"] else (low, high)
        position = tables["positions"][tables["slots"][slot][0]]
        yield {"position": position, "pin": pins[pin], "against": pins[against]}


def _verdict(verdict: str, reason: str) -> str:
    said = verdict_message({"verdict": verdict, "p_good": HALF, "reason": reason, "next": []})
    return said.replace(share_text(HALF), "{share}")


def _causes(tables: Plain, common: str | None) -> Iterator[Plain]:
    pins, positions = tables["pins"], tables["positions"]
    for variant in tables["variants"]:
        for what in [*variant["mistakes"][1:], *variant["faults"][1:]]:
            cause = {
                "cause": what["kind"],
                "pins": [pins[pin] for pin in what["pins"]],
                "positions": [positions[row] for row in what["positions"]],
                "params": {"detail": what["detail"]},
            }
            yield cause
            if what["kind"] == "line_open":
                yield {**cause, "cause": "harness_open"}
    yield _choice("resistive_common", [] if common is None else [common])
    yield _choice("other_variant", [])
    yield _choice("unknown", [])
    for other in tables["others"]:
        yield {
            **_choice("other_design", []),
            "params": {"detail": other["design"], "design": other["design"]},
        }


def _choice(cause: str, pins: list[str]) -> Plain:
    return {"cause": cause, "pins": pins, "positions": [], "params": {"detail": ""}}


def _key(cause: Plain) -> str:
    parts = [cause["cause"], cause["pins"], cause["positions"], cause["params"]["detail"]]
    return json.dumps(parts, separators=(",", ":"), ensure_ascii=False)
