"""What a design's steps are called where its sheets differ."""

from __future__ import annotations

from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_steps import step_labels

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading,between"


def labels(*rows: str) -> tuple[list[tuple[str, ...]], list[str]]:
    return step_labels(read_tidy("\n".join([HEADER, *rows, ""]).encode()))


def test_the_label_of_most_sheets_wins_and_the_others_are_named() -> None:
    found, warnings = labels(
        "A,s,u,c,1,P,2,1,1,", "A,t,v,c,1,P,2,1,1,", "A,t,v,c,1,P,3,1,1,", "A,w,x,c,1,Park,2,1,1,"
    )
    assert found == [("P",)]
    assert warnings == ["Design A, step 1: “P” × 2, “Park” × 1; the chart calls it P."]


def test_one_sheet_has_one_voice_however_many_readings_it_has() -> None:
    found, _warnings = labels(
        *(f"A,s,u,c,1,X,{pin},1,1," for pin in (2, 3, 4)), "A,t,v,c,1,B,2,1,1,", "A,w,y,c,1,B,2,1,1,"
    )
    assert found == [("B",)]


def test_a_step_that_nobody_names_is_called_by_its_number() -> None:
    assert labels("A,s,u,c,1,P,2,1,1,", "A,s,u,c,3,N,2,1,1,")[0] == [("P", "2", "N")]


def test_behind_the_last_step_there_is_another_one() -> None:
    assert labels("A,s,u,c,1,P,2,1,1,yes")[0] == [("P", "2")]


def test_no_label_stands_twice_in_a_design() -> None:
    found, warnings = labels(
        "A,s,u,c,1,P,2,1,1,", "A,s,u,c,2,R,2,1,1,", "A,t,u,c,1,R,2,1,1,", "A,w,u,c,1,R,2,1,1,"
    )
    assert found == [("R", "2")]
    assert len(warnings) == 1


def test_designs_do_not_mix() -> None:
    assert labels("A,s,u,c,1,P,2,1,1,", "B,t,u,c,1,S1,2,1,1,", "B,t,u,c,2,S2,2,1,1,")[0] == [
        ("P",),
        ("S1", "S2"),
    ]
