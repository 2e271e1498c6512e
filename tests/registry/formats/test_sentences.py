"""Each finding and each standing has its sentence, with the figures that it rests on."""

from __future__ import annotations

from typing import Any

import pytest

from registry.formats.documents import schema
from registry.formats.sentences import finding_message, standing_message

FINDINGS = schema("agreed")["$defs"]["finding"]["enum"]
STANDINGS = schema("agreed")["$defs"]["cell"]["properties"]["standing"]["enum"]
CELL = {"position": "R", "pin": "4", "against": "1", "between": False}


def finding(code: str, *cells: dict[str, Any], p: float = 0.99, **params: Any) -> str:
    counted = {"readings": 28, "agreeing": 28 - len(cells), **params}
    entry = {"finding": code, "p": p, "variant": "b", "cells": list(cells), "params": counted}
    return finding_message(entry, common="1")


CASES = [
    (finding("fits"), "Fits the pattern (p = 0.99); 28 of 28 readings agree."),
    (
        finding("slip", CELL),
        "Fits but for one reading (p = 0.99); 27 of 28 readings agree. Read pin 4 in R again.",
    ),
    (
        finding("slip", CELL, {**CELL, "pin": "2", "position": "P", "between": True}, p=0.9991),
        "Fits but for 2 readings (p > 0.99); 26 of 28 readings agree. "
        "Read pin 4 in R and pin 2 behind P again.",
    ),
    (
        finding("mirrored_pins", CELL, detail="face"),
        "Fits once pins are numbered from the other face (p = 0.99); 27 of 28 readings then agree; "
        "pin 4 in R still differs.",
    ),
    (
        finding("mirrored_pins", detail="lines"),
        "Fits once the lines are numbered from the other face, the common as it is (p = 0.99); "
        "28 of 28 readings then agree.",
    ),
    (
        finding("wrong_common", pins=["3"]),
        "Fits if one lead stayed on pin 3 instead of the common (p = 0.99); 28 of 28 readings then agree.",
    ),
    (
        finding("shifted_positions", detail="out"),
        "Fits if the lever stood one detent further than written, throughout (p = 0.99); "
        "28 of 28 readings then agree.",
    ),
    (
        finding("shifted_positions", detail="back"),
        "Fits if the lever stood one detent short of what is written, throughout (p = 0.99); "
        "28 of 28 readings then agree.",
    ),
    (
        finding("exchanged", detail="pins", pins=["3", "4"]),
        "Fits once pins 3 and 4 are taken in each other's place (p = 0.99); 28 of 28 readings then agree.",
    ),
    (
        finding("exchanged", detail="positions", positions=["R", "N"]),
        "Fits once R and N are taken in each other's place (p = 0.99); 28 of 28 readings then agree.",
    ),
    (
        finding("mirrored_pins", detail="face", fault="line_open", fault_pins=["4"], fault_positions=[]),
        "Fits once pins are numbered from the other face (p = 0.99); 28 of 28 readings then agree; "
        "and the unit has a fault: pin 4 never closes.",
    ),
    (
        finding("faulty_unit", fault="worn_contact", fault_pins=["4", "1"], fault_positions=["R"]),
        "Fits the pattern with one fault of the unit: the contact of pin 4 in R is worn (p = 0.99); "
        "28 of 28 readings agree.",
    ),
    (
        finding("faulty_unit", fault="resistive_common", fault_pins=[], fault_positions=[], ohm=180.0),
        "Fits the pattern with one fault of the unit: the common has 180 Ω in series (p = 0.99); "
        "28 of 28 readings agree.",
    ),
    (
        finding("faulty_unit", fault="detent_shift", fault_detail="back", fault_pins=[], fault_positions=[]),
        "Fits the pattern with one fault of the unit: the contacts stand one detent behind the lever "
        "(p = 0.99); 28 of 28 readings agree.",
    ),
    (finding("other_variant"), "Fits variant b of this design (p = 0.99); 28 of 28 readings agree."),
    (
        finding("other_design", design="D7"),
        "Fits design D7 better than this one (p = 0.99); 28 of 28 readings agree. "
        "Look at the part number again.",
    ),
    (
        finding("coordinated"),
        "Agrees with a group of sheets from few people that stands against all others (p = 0.99); "
        "28 of 28 readings agree. The group waits for more people and changes nothing until then.",
    ),
    (
        finding("unexplained", agreeing=15, p=0.7),
        "No single mistake or fault explains this sheet (p = 0.70); as written 15 of 28 readings agree.",
    ),
    (
        finding("unexplained", agreeing=26, agreeing_as_read=15, p=0.7),
        "No single mistake or fault explains this sheet (p = 0.70); as written 15 of 28 readings agree.",
    ),
    (
        finding("fits", counts=False),
        "Fits the pattern (p = 0.99); 28 of 28 readings agree. It does not count for the pattern.",
    ),
]


@pytest.mark.parametrize(("said", "expected"), CASES)
def test_a_finding_is_said_with_its_figures(said: str, expected: str) -> None:
    assert said == expected


@pytest.mark.parametrize("code", FINDINGS)
def test_every_finding_has_a_sentence_even_without_figures(code: str) -> None:
    said = finding_message({"finding": code, "p": 0.9, "variant": None, "cells": [], "params": {}})
    assert code not in said.split() and said.endswith(".") and "{" not in said and "p = 0.90" in said


def test_many_cells_are_counted_instead_of_named() -> None:
    cells = [{**CELL, "pin": str(pin)} for pin in range(2, 9)]
    assert "pin 2 in R, pin 3 in R, pin 4 in R and 4 more still differ" in finding("exchanged", *cells)


def test_a_pair_of_lines_names_both_pins() -> None:
    assert "pin 2 against 4 in R differs" in finding("fits", {**CELL, "pin": "2", "against": "4"})


def standing(word: str, agreeing: int, units: int, low: float) -> str:
    cell = {
        "standing": word,
        "agreeing": agreeing,
        "units": units,
        "contributors": 3,
        "agreement": [low, 1.0],
    }
    return standing_message(cell)


def test_few_units_are_said_to_be_few() -> None:
    # 4 of 4: the two-sided 95 % interval begins at 0.3976 (Clopper & Pearson 1934; check value 3.2)
    assert standing("provisional", 4, 4, 0.397635) == (
        "4 of 4 units agree, read by 3 people. That is not many: the true share could be as low as 40 %."
    )


@pytest.mark.parametrize("word", STANDINGS)
def test_every_standing_has_a_sentence(word: str) -> None:
    said = standing(word, 0 if word == "unread" else 2, 0 if word == "unread" else 3, 0.09)
    assert said.endswith(".") and "{" not in said
