"""Sheets that are of another design than they claim."""

from __future__ import annotations

from consensus import Settings, agree
from tests.consensus.benches import PATTERN, bench, good_sheets, turned, typed_sheet

SETTINGS = Settings()
STRANGE = ("c o o c", "o o c c", "o c o c", "c c o c", "o o o c", "c c c o")


def test_a_sheet_of_another_design_is_named_with_it():
    mixed = bench([*good_sheets(6), typed_sheet(STRANGE)], design="sweeper")
    other = bench(good_sheets(6, STRANGE), design="refuse lorry")
    _, charts = agree([mixed, other], SETTINGS)
    finding = charts[0].findings[6]
    assert (finding.finding, finding.params["design"]) == ("other_design", "refuse lorry")
    assert finding.params["agreeing"] == finding.params["readings"] == 24
    assert {one.finding for one in charts[0].findings[:6]} == {"fits"}


def test_a_mirrored_sheet_is_not_taken_for_another_design():
    mixed = bench([*good_sheets(6), typed_sheet(turned(PATTERN))], design="sweeper")
    other = bench(good_sheets(6, STRANGE), design="refuse lorry")
    _, charts = agree([mixed, other], SETTINGS)
    assert charts[0].findings[6].finding == "mirrored_pins"


def test_a_place_read_in_three_sweeps_is_one_reading():
    mixed = bench([*good_sheets(6), typed_sheet(STRANGE, sweeps=3, held_good="no")], design="sweeper")
    other = bench(good_sheets(6, STRANGE), design="refuse lorry")
    _, charts = agree([mixed, other], SETTINGS)
    finding = charts[0].findings[6]
    assert finding.finding == "other_design"
    assert finding.params["agreeing"] == finding.params["readings"] == 24
    assert finding.params["counts"] is False
