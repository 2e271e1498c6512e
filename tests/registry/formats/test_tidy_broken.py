"""Every way in which a tidy file can be broken, and where it is said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from registry.errors import RegistryErrors
from registry.formats.reading import parse_reading
from registry.formats.tidy_fields import BAD, FieldCodes
from registry.formats.tidy_reader import read_tidy
from registry.formats.tidy_text import TidyText
from tests.registry.formats.tidy_made import HEADER, refused, tidy


def test_a_million_errors_are_counted_and_a_thousand_kept() -> None:
    """A file of a few MB can have as many; each as an object of its own would fill the memory."""
    with pytest.raises(RegistryErrors) as refused:
        TidyText(tidy() + b"\xff\n" * 5000)
    assert (len(refused.value.errors), refused.value.total) == (1000, 5000)
    codes = FieldCodes(parse_reading)
    assert [codes[f"word {n}"] for n in range(3000)] == [BAD] * 3000
    assert len({id(error) for error in codes.errors.values()}) == 1000
    with pytest.raises(RegistryErrors) as refused:
        read_tidy(tidy(*(f"A,s,u,c,1,P,2,1,word {n}" for n in range(3000))))
    assert (len(refused.value.errors), refused.value.total) == (1000, 3000)


def broken_files() -> Iterator[tuple[str, bytes, list[tuple[int | None, str | None, str]]]]:
    good = "A,s,u,c,1,P,2,1,0.4"
    yield "empty", b"", [(None, None, "file_empty")]
    yield "only a mark and spaces", b"\xef\xbb\xbf \r\n\n", [(None, None, "file_empty")]
    yield "header only", tidy(), [(None, None, "file_empty")]
    yield "no header", (good + "\n").encode(), [(1, None, "column_missing")]
    yield "missing columns", tidy("A,s", header="design,submission"), [(1, None, "column_missing")]
    yield "a column twice", tidy(good + ",2", header=HEADER + ",pin"), [(1, None, "column_twice")]
    yield "tabs", tidy(good).replace(b",", b"\t"), [(1, None, "column_missing")]
    yield "utf-16", tidy(good).decode().encode("utf-16"), [(None, None, "encoding_wrong")]
    yield "utf-16 without a mark", tidy(good).decode().encode("utf-16-le"), [(None, None, "encoding_wrong")]
    yield "utf-32", tidy(good).decode().encode("utf-32-be"), [(None, None, "encoding_wrong")]
    yield (
        "latin-1",
        tidy(good, "A,s,u,é,1,P,3,1,OL").decode().encode("latin-1"),
        [(3, None, "encoding_wrong")],
    )
    yield "spreadsheet", b"PK\x03\x04" + b"x" * 99, [(None, None, "file_binary")]
    yield "old spreadsheet", b"\xd0\xcf\x11\xe0" + b"x" * 99, [(None, None, "file_binary")]
    yield "nul", tidy(good, "A,s,u,c,1,P,3,1,0.\x004"), [(3, None, "byte_nul")]
    yield "quote never closed", tidy(good, 'A,s,u,c,1,P,"3,1,OL', good), [(3, None, "quote_unbalanced")]
    yield "text behind a quote", tidy(good, 'A,s,u,c,1,P,"3"x,1,OL'), [(3, None, "quote_unbalanced")]
    yield (
        "quote over a whole file",
        tidy('A,s,u,c,1,P,"3', *["A,s,u,c,1,P,3,1,OL"] * 9000),
        [(2, None, "quote_unbalanced")],
    )
    yield "endless line", tidy(good, "A,s,u,c,1,P,3,1," + "4" * 10_000_000), [(3, None, "line_too_long")]
    yield "endless line of fields", tidy(good, "A," * 5_000_000), [(3, None, "line_too_long")]
    yield "long field", tidy("A" * 300 + ",s,u,c,1,P,2,1,0.4"), [(2, "design", "name_too_long")]
    yield "too few fields", tidy(good, "A,s,u,c,1,P,3,1"), [(3, None, "row_width")]
    yield "decimal comma", tidy(good, "A,s,u,c,1,P,3,1,0,4"), [(3, None, "row_width")]
    yield "thousands", tidy('A,s,u,c,1,P,2,1,"1,200"'), [(2, "reading", "reading_ambiguous")]
    yield "negative ohms", tidy("A,s,u,c,1,P,2,1,-0.4"), [(2, "reading", "reading_negative")]
    yield "not a number", tidy("A,s,u,c,1,P,2,1,NaN"), [(2, "reading", "reading_unreadable")]
    yield "formula as reading", tidy("A,s,u,c,1,P,2,1,=1+1"), [(2, "reading", "reading_unreadable")]
    yield "formula as name", tidy("=1+1,s,u,c,1,P,2,1,1"), [(2, "design", "name_formula")]
    yield "call as name", tidy("A,s,u,@x(),1,P,2,1,1"), [(2, "contributor", "name_formula")]
    yield "sum as label", tidy("A,s,u,c,1,-1+2,2,1,1"), [(2, "position", "name_formula")]
    yield "bell in a name", tidy("A,s,u\x07,c,1,P,2,1,1"), [(2, "unit", "name_control")]
    yield "missing name", tidy("A,,u,c,1,P,2,1,1"), [(2, "submission", "value_missing")]
    yield "pin against itself", tidy("A,s,u,c,1,P,2,2,1"), [(2, "against", "pin_against_itself")]
    for step in ("0", "-1", "1e9", "1.5", "99999999999", "10001", "P", "", "²"):
        yield f"step {step}", tidy(f"A,s,u,c,{step},P,2,1,1"), [(2, "step", "number_impossible")]
    yield "a place twice", tidy(good, "A,s,u,c,1,P,2,1,0.4"), [(3, None, "place_twice")]
    yield "a place twice, turned", tidy(good, "A,s,u,c,1,P,1,2,OL"), [(3, None, "place_twice")]
    yield "two labels", tidy(good, "A,s,u,c,1,R,3,1,OL"), [(3, "position", "step_two_labels")]
    yield "two steps", tidy(good, "A,s,u,c,2,P,3,1,OL"), [(3, "position", "label_two_steps")]
    yield "two designs", tidy(good, "B,s,u,c,1,P,3,1,OL"), [(3, "design", "submission_contradicts")]
    yield "two units", tidy(good, "A,s,v,c,1,P,3,1,OL"), [(3, "unit", "submission_contradicts")]
    yield "two people", tidy(good, "A,s,u,d,1,P,3,1,OL"), [(3, "contributor", "submission_contradicts")]
    extra = {
        "sweep": ("0", "number_impossible"),
        "between": ("maybe", "word_unknown"),
        "class": ("best", "word_unknown"),
        "held_good": ("sure", "word_unknown"),
    }
    for name, (text, code) in extra.items():
        yield f"{name} {text}", tidy(f"{good},{text}", header=f"{HEADER},{name}"), [(2, name, code)]
    for text, code in {
        "-1": "reading_negative",
        "0": "limit_impossible",
        "high": "reading_unreadable",
    }.items():
        yield f"limit {text}", tidy(f"{good},{text}", header=HEADER + ",limit_ohm"), [(2, "limit_ohm", code)]
    for text, code in {"-1": "reading_negative", "5k": "lead_impossible", "=1": "reading_unreadable"}.items():
        yield f"lead {text}", tidy(f"{good},{text}", header=HEADER + ",lead_ohm"), [(2, "lead_ohm", code)]
    all_at_once = [good, "A,s,u,c,0,P,2,2,-3", "", "A,s,u,c,1,P,1,2,OL", "B,t", "A,s,u,c,1,P,9,1,1k2k"]
    yield (
        "all at once",
        tidy(*all_at_once),
        [
            (3, "step", "number_impossible"),
            (3, "reading", "reading_negative"),
            (5, None, "place_twice"),
            (6, None, "row_width"),
            (7, "reading", "reading_unreadable"),
        ],
    )


BROKEN = list(broken_files())


@pytest.mark.parametrize(
    ("data", "expected"), [case[1:] for case in BROKEN], ids=[case[0] for case in BROKEN]
)
def test_a_broken_file_is_refused_where_it_is_broken(
    data: bytes, expected: list[tuple[int | None, str | None, str]]
) -> None:
    assert refused(data) == expected


@pytest.mark.parametrize("name", ["missing.csv", ".", "nul\0.csv"])
def test_a_file_that_is_not_there_is_an_error_like_others(tmp_path: Path, name: str) -> None:
    with pytest.raises(RegistryErrors) as raised:
        read_tidy(tmp_path / name)
    assert [error.code for error in raised.value] == ["file_unreadable"]
