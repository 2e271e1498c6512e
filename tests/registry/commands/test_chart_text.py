"""Charts of text for terminals of any width."""

from __future__ import annotations

from typing import Any

import pytest

from registry.commands.chart_text import agreed_lines, design_lines, wrapped


def cell(position: str, pin: str, state: str | None = "closed", **more: Any) -> dict[str, Any]:
    ohm = {"typical": 0.41, "u": 0.03, "accept": [0.0, 2.1]} if state == "closed" else None
    plain = {"position": position, "pin": pin, "against": "1", "between": False, "state": state}
    counts = {"standing": "agreed", "units": 6, "agreeing": 6, "contributors": 4, "agreement": [0.5, 1.0]}
    return {**plain, "p_open": 0.5, "ohm": ohm, **counts, **more}


def design(*cells: dict[str, Any], **more: Any) -> dict[str, Any]:
    variant = {
        "variant": "a",
        "share": 1.0,
        "submissions": 7,
        "units": 6,
        "contributors": 4,
        "cells": list(cells),
    }
    plain = {"design": "D1", "positions": ["P", "R"], "pins": ["1", "2", "3"], "common": "1"}
    return {**plain, "variants": [variant], **more}


CHART = design(
    cell("P", "2"),
    cell("P", "3", "open", standing="provisional", agreeing=3, units=4),
    cell("R", "2", None, standing="disputed", agreeing=2, units=4),
    cell("R", "3", None, standing="unread", units=0, agreeing=0),
)


def test_a_chart_says_state_figure_count_and_standing() -> None:
    assert list(design_lines(CHART, 80)) == [
        "D1: 2 positions, 3 pins, common pin 1",
        "=====================================",
        "From 6 units by 4 people. Cells: 1 agreed, 1 provisional, 1 disputed, 1 not read.",
        "",
        "   pin 2          pin 3",
        "P  closed 0.41 Ω  open",
        "   6/6            3/4 provisional",
        "R  not clear      not read",
        "   2/4 disputed",
    ]


def test_columns_that_do_not_fit_stand_below() -> None:
    lines = list(design_lines(CHART, 24))
    assert lines[4] == "   pin 2" and "   pin 3" in lines[6:]
    assert max(len(line) for line in lines[3:]) <= 24


def test_pairs_of_lines_and_gaps_between_positions_are_named() -> None:
    lines = list(design_lines(design(cell("P", "2"), cell("P", "3", against="2", between=True)), 80))
    assert lines[4:] == [
        "     pin 2          3 – 2",
        "P    closed 0.41 Ω  not read",
        "     6/6",
        "P …  not read       closed 0.41 Ω",
        "                    6/6",
    ]


def test_variants_are_named_where_there_are_several() -> None:
    chart = design(cell("P", "2"))
    chart["variants"] = [
        {**chart["variants"][0], "share": 0.75},
        {**chart["variants"][0], "variant": "b", "share": 0.25},
    ]
    lines = list(design_lines(chart, 80))
    assert "Variant a: 75% of units" in lines and "Variant b: 25% of units" in lines


def test_a_design_without_a_chart_says_so() -> None:
    lines = list(design_lines(design(common=None, variants=[]), 80))
    assert lines[0] == "D1: 2 positions, 3 pins, no common pin"
    assert lines[2] == "No sheet that counts yet: nothing is agreed."


def test_sheets_that_do_not_fit_are_listed_with_their_sentence() -> None:
    sheets = [
        {"submission": "s1", "design": "D1", "finding": "fits", "message": "Fits."},
        {"submission": "s2", "design": "D1", "finding": "slip", "message": "Fits but for one reading."},
    ]
    lines = list(agreed_lines({"designs": [CHART], "submissions": sheets}, 80))
    assert lines[-2:] == ["1 of 2 sheets fit.", "s2: Fits but for one reading."]


@pytest.mark.parametrize("width", [10, 20, 200])
def test_sentences_are_wrapped_between_words(width: int) -> None:
    text = "s2: Fits once pins are numbered from the other face"
    lines = list(wrapped(text, width))
    assert " ".join(line.strip() for line in lines) == text
    assert all(len(line) <= width for line in lines)
