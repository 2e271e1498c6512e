"""What technicians write for a reading, and what is refused with advice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.errors import RegistryError
from registry.formats.reading import ReadingKind, _read, parse_ohm, parse_reading
from registry.formats.tidy_writer import format_reading

CHECK_VALUES = json.loads((Path(__file__).parents[2] / "data" / "check_values.json").read_text())

VALUES = {
    "0.4": 0.4, ",4": 0.4, ".4": 0.4, "0,4": 0.4, "0,400": 0.4, "1.": 1.0, "0": 0.0, "1.200": 1.2,
    "12,5": 12.5, "1234,567": 1234.567, "1,2345": 1.2345, "1.2k": 1200, "1,2k": 1200, "1.2 K": 1200,
    "1.2 kΩ": 1200, "1.2 kohm": 1200, "4R7": 4.7, "R47": 0.47, "1M2": 1.2e6, "4k7": 4700, "470R": 470,
    "0.8 MΩ": 8e5, "0.8 M\u2126": 8e5, "0.8 Mohm": 8e5, "0.8\u00a0MΩ": 8e5, "0.8 meg": 8e5, "2L00": 0.002,
    "3 Ω": 3, "3 ohms": 3, "1e6": 1e6, "1e+06": 1e6, "2.5e-1": 0.25, " 7 ": 7,
}  # fmt: skip
OVER_LIMIT = ["OL", "ol", "O.L", "O.L.", ".OL", "0L", "0.L", "O.L MΩ", "inf", "∞", "open", "Open", "overload"]
CONTINUITY = ["cont", "Cont.", "beep", "BEEP", "continuity", "buzz"]
RANGES = {
    "0.4…35": (0.4, 35), "0.4...35": (0.4, 35), "0.4..35": (0.4, 35), "0.4-35": (0.4, 35),
    "0.4 – 35 Ω": (0.4, 35), "35…0.4": (0.4, 35), "0,4…1,2k": (0.4, 1200), "4R7 to 1k": (4.7, 1000),
    "0.4…OL": (0.4, 2e7),
}  # fmt: skip
REFUSED = {
    "1,200": "reading_ambiguous", "1,200k": "reading_ambiguous", "12,345": "reading_ambiguous",
    "0.4…1,200": "reading_ambiguous", "-5": "reading_negative", "−0.4": "reading_negative",
    "-0": "reading_negative", "nan": "reading_unreadable", "1k2k": "reading_unreadable",
    "=1+1": "reading_unreadable", "+4": "reading_unreadable", "5 V": "reading_unreadable",
    "-": "reading_unreadable", "?": "reading_unreadable", "1…2…3": "reading_unreadable",
    "٣": "reading_unreadable", "1½": "reading_unreadable", "5L": "reading_unreadable",
    "1 .": "reading_unreadable", "9" * 41: "reading_unreadable", "4R7J": "reading_tolerance",
    "470RK": "reading_tolerance", "1e30": "reading_absurd", "1e400": "reading_absurd",
    "4E7": "reading_exponent_or_code", "0.8 mΩ": "reading_milli_or_mega", "1m2": "reading_milli_or_mega",
    "1,200.5": "reading_grouped", "1 200": "reading_grouped", "1.200.000": "reading_grouped",
    ">20M": "reading_above",
}  # fmt: skip


@pytest.mark.parametrize("text", VALUES)
def test_a_figure_is_read(text: str) -> None:
    reading = parse_reading(text)
    assert reading.kind is ReadingKind.VALUE
    assert reading.low == reading.high == pytest.approx(VALUES[text], rel=1e-12)


@pytest.mark.parametrize("text", OVER_LIMIT)
def test_over_limit_is_read(text: str) -> None:
    assert parse_reading(text) == (ReadingKind.OVER_LIMIT, None, None)


@pytest.mark.parametrize("text", CONTINUITY)
def test_the_buzzer_is_closed_without_a_figure(text: str) -> None:
    assert parse_reading(text) == (ReadingKind.CONTINUITY, None, None)


@pytest.mark.parametrize("text", RANGES)
def test_a_wandering_figure_is_a_range(text: str) -> None:
    assert parse_reading(text) == (ReadingKind.RANGE, *RANGES[text])


@pytest.mark.parametrize("text", ["", "  ", "\t"])
def test_nothing_written_is_not_taken(text: str) -> None:
    assert parse_reading(text).kind is ReadingKind.NOT_TAKEN


def test_no_text_is_remembered_that_no_meter_shows() -> None:
    """A hundred thousand are; of any length they would fill the memory, and the column takes 60 signs."""
    parse_reading("")
    before = _read.cache_info().currsize
    assert parse_reading(" " * 5000).kind is ReadingKind.NOT_TAKEN
    assert _read.cache_info().currsize == before
    for parse, text in ((parse_reading, "0.4" + " " * 60 + "k"), (parse_ohm, "0" * 60 + "1")):
        with pytest.raises(RegistryError) as refused:
            parse(text)
        assert refused.value.code == "reading_unreadable" and len(str(refused.value)) < 200


@pytest.mark.parametrize("text", REFUSED)
def test_what_could_mean_two_things_or_nothing_is_refused(text: str) -> None:
    with pytest.raises(RegistryError) as refused:
        parse_reading(text)
    assert refused.value.code == REFUSED[text]
    assert refused.value.message and refused.value.advice


def test_the_ambiguous_figure_is_shown_in_both_meanings() -> None:
    with pytest.raises(RegistryError, match=r"“1,200”: 1\.2 or 1200\?"):
        parse_reading("1,200")


def test_the_meters_own_sign_is_over_limit_only_where_it_says_so() -> None:
    assert parse_reading("1", "1").kind is ReadingKind.OVER_LIMIT
    assert parse_reading("1 .", "1").kind is ReadingKind.OVER_LIMIT
    assert parse_reading("1").low == 1.0
    assert parse_reading("1.0", "1").low == 1.0
    assert parse_reading(".1", "1").low == 0.1
    assert parse_reading("- - - -", "----").kind is ReadingKind.OVER_LIMIT


def test_a_range_up_to_over_limit_ends_at_the_meters_limit() -> None:
    assert parse_reading("0.4…OL", limit_ohm=6e7) == (ReadingKind.RANGE, 0.4, 6e7)
    assert parse_reading("OL…OL").kind is ReadingKind.OVER_LIMIT


# 10.4 of the published check values: letter = multiplier at the decimal place (IEC 60062:2016)
def test_resistance_codes_read_as_published() -> None:
    published = CHECK_VALUES["iec60062"]
    for code, ohm in zip(published["data"]["codes"], published["expected"]["ohm"], strict=True):
        assert parse_ohm(code) == pytest.approx(ohm, rel=1e-12), code


@given(st.text(max_size=60), st.none() | st.text(max_size=5))
def test_any_text_is_read_or_refused(text: str, sign: str | None) -> None:
    try:
        kind, low, high = parse_reading(text, sign)
    except RegistryError as error:
        assert error.code.startswith("reading_") and error.message
    else:
        if kind in (ReadingKind.VALUE, ReadingKind.RANGE):
            assert low is not None and high is not None and 0 <= low <= high <= 1e12
        else:
            assert low is high is None


@given(st.text(alphabet="0123456789.,…-+eEkKmMRLOΩ ohm", max_size=14))
def test_what_is_read_is_written_and_read_alike(text: str) -> None:
    try:
        reading = parse_reading(text)
    except RegistryError:
        return
    assert parse_reading(format_reading(reading)) == reading
