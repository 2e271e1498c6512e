"""A contact that is open or high in one place of one unit is its fault, where a slip is less likely."""

from __future__ import annotations

from dataclasses import replace

import pytest

from consensus import Reliability, Settings, agree_design
from consensus.encoding import encode
from consensus.engine import judge_design
from consensus.findings import TableRole, find_all
from consensus.problem import make_problem
from registry.formats.sentences import finding_message
from tests.consensus.benches import PATTERN, bench, good_sheets, turned, typed_sheet

CAREFUL = Settings(miss_rate=0.008)
WORN = ["o o c o", *PATTERN[1:]]  # pin 3 in S1, where the pattern is closed


def findings_of(*sheets: dict, settings: Settings = CAREFUL) -> list:
    design = bench([*good_sheets(6), *sheets])
    return list(agree_design(design, Reliability.from_settings(settings), settings).findings[6:])


def high(figure: str) -> list[str]:
    return [PATTERN[0].replace("c", figure, 1), *PATTERN[1:]]


def is_worn(finding) -> bool:
    return (finding.finding, finding.params.get("fault"), finding.params.get("fault_positions")) == (
        "faulty_unit",
        "worn_contact",
        ["S1"],
    )


def test_a_contact_that_two_people_find_open_in_one_unit_is_worn():
    first, second = findings_of(*(typed_sheet(WORN, unit="one") for _ in range(2)))
    assert is_worn(first) and is_worn(second)
    assert set(first.params["fault_pins"]) == {"1", "3"}
    assert (first.params["readings"], first.params["agreeing"], first.cells) == (24, 24, ())
    assert first.params["agreeing_as_read"] == 23
    assert "the contact of pin 3 in S1 is worn" in finding_message(first.to_plain(), common="1")


def test_seen_once_it_is_as_likely_a_slip():
    (finding,) = findings_of(typed_sheet(WORN))
    assert finding.finding == "slip"
    assert [(cell.position, cell.pin) for cell in finding.cells] == [("S1", "3")]
    first, second = findings_of(typed_sheet(WORN, unit="one"), typed_sheet(PATTERN, unit="one"))
    assert (first.finding, second.finding) == ("slip", "fits")


@pytest.mark.parametrize("hands", [1, 2])
def test_a_figure_too_high_for_dirt_is_worn(hands):
    for finding in findings_of(*(typed_sheet(high("2.38k"), unit="one") for _ in range(hands))):
        assert is_worn(finding)
        assert finding.params["ohm"] == 2380
        assert "is worn (2.38 kΩ)" in finding_message(finding.to_plain(), common="1")


def test_dirt_is_no_fault():
    assert [one.finding for one in findings_of(typed_sheet(high("26")))] == ["slip"]


def test_how_much_is_dirt_follows_what_a_contact_reads():
    settings = (replace(CAREFUL, contact_ohm=ohm) for ohm in (0.4, 6.0))
    (usual,), (higher,) = (findings_of(typed_sheet(high("300")), settings=one) for one in settings)
    assert is_worn(usual) and higher.finding == "slip"


def test_it_is_told_beside_a_mistake_of_the_sheet():
    sheets = [typed_sheet(rows, unit="one") for rows in (high("4.7k"), turned(high("4.7k")))]
    first, second = findings_of(*sheets)
    assert is_worn(first)
    assert (second.finding, second.params["fault"]) == ("mirrored_pins", "worn_contact")


@pytest.mark.parametrize(("worn", "fault", "agreeing"), [(0.4, "worn_contact", 24), (0.1, "line_open", 23)])
def test_a_faulty_unit_names_its_likeliest_fault_where_none_is_likely_by_itself(worn, fault, agreeing):
    """Two kinds of fault of 0.3 and 0.2, besides a contact that may be worn."""
    encoded = encode(bench([*good_sheets(6), typed_sheet(WORN)]), CAREFUL)
    problem = make_problem(encoded, Reliability.from_settings(CAREFUL), CAREFUL)
    explained = judge_design(encoded, problem).explained
    faults, chance = explained.faults.copy(), explained.worn.copy()
    kinds = [one.kind for one in problem.hypotheses.faults]
    faults[6] = 0.0
    faults[6, [0, kinds.index("line_open"), kinds.index("detent_shift")]] = 0.5, 0.3, 0.2
    chance[chance > 0] = worn
    assert (chance > 0).sum() == 1
    told = replace(explained, faults=faults, worn=chance)
    finding = find_all(encoded, problem.hypotheses, told, encoded.sheet_order, [TableRole("a")])[6]
    assert (finding.finding, finding.params["fault"]) == ("faulty_unit", fault)
    assert (finding.params["agreeing"], len(finding.cells)) == (agreeing, 24 - agreeing)


def test_behind_a_position_nothing_is_worn():
    """The last row read behind S5 instead: no lever rests there."""
    rows = [*PATTERN[:5], "o o o c"]
    design = bench([*good_sheets(6), *(typed_sheet(rows, unit="one") for _ in range(3))])
    last = design.readings.position == 5
    moved = replace(design.readings, between=last, position=design.readings.position - last)
    chart = agree_design(replace(design, readings=moved), Reliability.from_settings(CAREFUL), CAREFUL)
    assert {one.finding for one in chart.findings[6:]} == {"slip"}
    assert all(cell.between for one in chart.findings[6:] for cell in one.cells)
