"""Variants and blocks by evidence; keys that never change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from consensus import FindingCell, VariantPattern, agree_design
from consensus.contacts import alike_symbols, make_alphabet
from tests.consensus.benches import (
    BEFORE,
    PATTERN,
    SETTINGS,
    bench,
    chart_of,
    good_sheets,
    state_table,
    third_apart,
    typed_sheet,
)

OTHER = ("c c c o", "c c c c", "c c o o", "o o c c", "c o c o", "o c o o")  # differs in four cells


def test_four_units_of_four_contributors_make_a_variant():
    chart = chart_of(*good_sheets(9), *good_sheets(4, OTHER))
    assert [variant.units for variant in chart.variants] == [9, 4]
    assert state_table(chart, 1) == list(OTHER)
    assert {finding.finding for finding in chart.findings[9:]} == {"other_variant"}
    assert chart.variants[0].share > chart.variants[1].share


def test_cells_that_tell_variants_apart_are_named():
    chart = chart_of(*good_sheets(9), *good_sheets(4, OTHER))
    assert set(chart.variants[0].tells) == {
        FindingCell("S1", "2", "1"),
        FindingCell("S2", "3", "1"),
        FindingCell("S5", "3", "1"),
        FindingCell("S6", "5", "1"),
    }


def test_a_place_behind_a_position_that_tells_variants_apart_says_so():
    design = bench([*good_sheets(9), *good_sheets(4, OTHER)])
    last = design.readings.position == 5  # the last row read behind S5 instead
    moved = replace(design.readings, between=last, position=design.readings.position - last)
    chart = agree_design(replace(design, readings=moved), BEFORE, SETTINGS)
    assert FindingCell("S5", "5", "1", between=True) in chart.variants[0].tells
    told = chart.variants[0].to_plain()["tells"]
    assert {"position": "S5", "pin": "5", "against": "1", "between": True} in told
    assert VariantPattern.from_plain(chart.variants[0].to_plain()).tells == chart.variants[0].tells


LADDER = ("o 220 c o", "c o 680 c", "220 c o 1.2k", "o 680 c c", "c c 1.2k o", "220 c o c")
SWAPPED = (LADDER[0].replace("220", "680"), *LADDER[1:3], LADDER[3].replace("680", "220"), *LADDER[4:])


def test_variants_that_differ_by_their_levels_are_told_apart_by_them():
    chart = chart_of(*good_sheets(9, LADDER), *good_sheets(5, SWAPPED))
    assert len(chart.variants) == 2
    for variant in chart.variants:
        assert set(variant.tells) == {FindingCell("S1", "3", "1"), FindingCell("S4", "3", "1")}


def test_levels_that_a_meter_hardly_tells_apart_tell_no_variants():
    alphabet = make_alphabet(np.array([220.0, 228.0, 680.0]), SETTINGS)
    assert alike_symbols(alphabet)[2].tolist() == [False, False, True, True, False, False]


def test_the_same_units_from_three_accounts_are_coordinated_and_shift_nothing():
    block = [typed_sheet(OTHER, contributor=f"x{at % 3}") for at in range(4)]
    chart = chart_of(*good_sheets(9), *block)
    assert len(chart.variants) == 1
    assert state_table(chart) == list(PATTERN)
    assert {finding.finding for finding in chart.findings[9:]} == {"coordinated"}
    assert all(finding.variant is None for finding in chart.findings[9:])
    assert {cell.units for cell in chart.variants[0].cells} == {9}


def test_two_like_units_are_no_variant():
    chart = chart_of(*good_sheets(9), *good_sheets(2, OTHER))
    assert len(chart.variants) == 1
    assert state_table(chart) == list(PATTERN)


def test_noise_makes_no_variant():
    noisy = [
        [row if at % 6 != number else row.replace("c", "o", 1) for number, row in enumerate(PATTERN)]
        for at in range(12)
    ]
    assert len(chart_of(*(typed_sheet(rows) for rows in noisy)).variants) == 1


def test_a_variant_keeps_its_key_when_shares_change():
    few = chart_of(*good_sheets(9), *good_sheets(4, OTHER))
    many = chart_of(*good_sheets(9), *good_sheets(14, OTHER))
    key = {tuple(state_table(few, at)): few.variants[at].variant for at in range(2)}
    assert key == {tuple(state_table(many, at)): many.variants[at].variant for at in range(2)}
    assert [variant.units for variant in many.variants] == [14, 9]


def test_a_moderator_binds_sheets_to_a_variant():
    sheets = [*good_sheets(6), *good_sheets(2, OTHER, bound_variant="late")]
    chart = chart_of(*sheets)
    assert [(variant.variant, variant.units) for variant in chart.variants] == [("a", 6), ("late", 2)]
    merged = chart_of(*good_sheets(6, bound_variant="a"), *good_sheets(5, OTHER, bound_variant="a"))
    assert [(variant.variant, variant.units) for variant in merged.variants] == [("a", 11)]


@pytest.mark.parametrize(("hands", "finding", "tables"), [(3, "coordinated", 1), (5, "other_variant", 2)])
def test_units_that_nothing_explains_have_a_table_of_their_own_where_they_agree(hands, finding, tables):
    """Twelve units of a large pattern and five that differ from it at a third of its places, alike: too many
    for slips or faults, so that each by itself shows nothing of the pattern."""
    rows, moved = third_apart()
    sheets = [typed_sheet(rows) for _ in range(12)]
    sheets += [typed_sheet(moved, contributor=f"b{at % hands}") for at in range(5)]
    chart = chart_of(*sheets, pins="1234567")
    assert [told.finding for told in chart.findings] == ["fits"] * 12 + [finding] * 5
    assert len(chart.variants) == tables
    assert state_table(chart) == rows
    assert tables == 1 or state_table(chart, 1) == moved
