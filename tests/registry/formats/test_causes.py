"""Each cause and each verdict of a check has its sentence."""

from __future__ import annotations

from typing import Any

import pytest

from registry.formats.causes import cause_message, verdict_message
from registry.formats.documents import schema

CAUSES = schema("check")["properties"]["checks"]["items"]["properties"]["causes"]["items"]["properties"][
    "cause"
]["enum"]
VERDICTS = schema("check")["properties"]["checks"]["items"]["properties"]["verdict"]["enum"]


def cause(code: str, pins: tuple[str, ...] = (), positions: tuple[str, ...] = (), **params: Any) -> str:
    plain = {
        "cause": code,
        "pins": list(pins),
        "positions": list(positions),
        "p": 0.9,
        "group": 1,
        "params": params,
    }
    return cause_message(plain, common="1")


CASES = [
    (cause("line_open", ("4",)), "Pin 4 never closes (p = 0.90)."),
    (cause("line_closed", ("4",)), "Pin 4 is stuck to the common (p = 0.90)."),
    (cause("line_closed", ("2", "4")), "In this unit pin 2 and pin 4 are stuck together (p = 0.90)."),
    (cause("worn_contact", ("4", "1"), ("R",)), "In this unit the contact of pin 4 in R is worn (p = 0.90)."),
    (
        cause("worn_contact", ("4",), ("R",), ohm=1200.0),
        "In this unit the contact of pin 4 in R is worn (1.2 kΩ) (p = 0.90).",
    ),
    (cause("bridged_lines", ("2", "3")), "Pins 2 and 3 are bridged (p = 0.90)."),
    (cause("resistive_common", ohm=47.0), "In this unit the common has 47 Ω in series (p = 0.90)."),
    (
        cause("detent_shift", detail="out"),
        "In this unit the contacts stand one detent ahead of the lever (p = 0.90).",
    ),
    (
        cause("harness_open", ("4",)),
        "The harness may be open on pin 4 (p = 0.90); read at the switch itself.",
    ),
    (
        cause("mirrored_pins", detail="face"),
        "The pins may be numbered from the other face (p = 0.90); look at the connector again.",
    ),
    (cause("wrong_common", ("3",)), "One lead may have stayed on pin 3 instead of the common (p = 0.90)."),
    (cause("exchanged", ("2", "3")), "Pins 2 and 3 may be written in each other's place (p = 0.90)."),
    (cause("exchanged", (), ("R", "N")), "R and N may be written in each other's place (p = 0.90)."),
    (cause("slip", ("4",), ("R",)), "Pin 4 in R may be misread (p = 0.90); touch it again."),
    (cause("other_variant", variant="b"), "It may be variant b of this design (p = 0.90)."),
    (cause("other_design", design="D7"), "It may be design D7 (p = 0.90); look at the part number again."),
    (cause("unknown"), "Nothing that has a name here explains the readings (p = 0.90)."),
]


@pytest.mark.parametrize(("said", "expected"), CASES)
def test_a_cause_is_said_in_a_sentence(said: str, expected: str) -> None:
    assert said == expected


@pytest.mark.parametrize("code", CAUSES)
@pytest.mark.parametrize("pins", [(), ("4",), ("3", "4")])
@pytest.mark.parametrize("positions", [(), ("R",)])
def test_every_cause_has_a_sentence_of_its_own(
    code: str, pins: tuple[str, ...], positions: tuple[str, ...]
) -> None:
    said = cause(code, pins, positions)
    assert said.endswith(".") and "{" not in said and "p = 0.90" in said
    assert said != cause("no such cause", pins, positions)


@pytest.mark.parametrize("verdict", VERDICTS)
@pytest.mark.parametrize("reason", ["", "evidence", "start_position", "shift", "no_readings"])
def test_every_verdict_has_a_sentence(verdict: str, reason: str) -> None:
    said = verdict_message({"verdict": verdict, "p_good": 0.42, "next": [], "reason": reason})
    assert said.endswith(".") and "{" not in said
    assert "42 %" in said or reason == "no_readings"


def test_a_verdict_names_its_probability_without_claiming_certainty() -> None:
    said = verdict_message({"verdict": "good", "p_good": 0.9999, "next": []})
    assert said == "Good: it fits the pattern at the bench (> 99 % sure)."
