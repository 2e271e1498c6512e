"""Whatever comes in: each parser gives a value or its own error, never anything else.

Bounded here; `make soak` lets each run for minutes (BENCHQUORUM_SOAK).
"""

from __future__ import annotations

import functools
import io
import json
import math
import zipfile
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from api.parsers import read_json
from registry.formats.audit_chain import chain_faults, read_chain
from registry.formats.matrix_table import read_matrix
from registry.formats.reading import parse_reading
from registry.formats.tidy_reader import read_tidy
from registry.services.pictures import reencoded
from tests.registry.operations.fuzzing import REFUSED, damaged, fuzz, survives

HEADER = "design,submission,unit,contributor,step,position,pin,against,reading"
figures = st.text(alphabet="0123456789.,kKMRΩ …-–+eE OLolcont∞", max_size=12)
names = st.text(alphabet="abPRND123=+@-\t\"';, é\x00\u202e", max_size=8)
rows = st.lists(st.tuples(names, names, names, names, figures, names, names, names, figures), max_size=6)


@fuzz
@given(st.one_of(figures, st.text(max_size=30)))
def test_a_typed_reading(text: str) -> None:
    read = survives(lambda: parse_reading(text))
    if read is not None:
        assert all(ohm is None or math.isnan(ohm) or ohm >= 0 for ohm in (read.low, read.high))


@fuzz
@given(rows, st.sampled_from([",", ";"]), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]))
def test_a_tidy_file(lines: list[tuple[str, ...]], comma: str, encoding: str) -> None:
    text = "\n".join([HEADER.replace(",", comma), *(comma.join(line) for line in lines)])
    survives(lambda: read_tidy(text.encode(encoding, "replace")))


@fuzz
@given(st.binary(max_size=400))
def test_bytes_of_any_kind(data: bytes) -> None:
    for parse in (read_tidy, read_matrix, reencoded, read_json):
        survives(lambda parse=parse: parse(data))


@fuzz
@given(st.data())
def test_a_damaged_spreadsheet(data: st.DataObject) -> None:
    survives(lambda: read_matrix(damaged(data, spreadsheet())))


@fuzz
@given(st.data())
def test_a_damaged_picture(data: st.DataObject) -> None:
    file = io.BytesIO()
    Image.new("RGB", (32, 24), "white").save(file, data.draw(st.sampled_from(["JPEG", "PNG", "WEBP"])))
    survives(lambda: reencoded(damaged(data, file.getvalue())))


@fuzz
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
        max_leaves=12,
    )
)
def test_a_body_and_a_chain(value: Any) -> None:
    text = json.dumps(value)
    survives(lambda: read_json(text.encode()))
    list(chain_faults(read_chain([text])))


@functools.cache  # the same bytes each time: its parts carry the time of day
def spreadsheet() -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(["", "2", "3"])  # type: ignore[union-attr]
    book.active.append(["P", "0.4", "OL"])  # type: ignore[union-attr]
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def test_a_damaged_part_of_a_spreadsheet_is_refused() -> None:
    whole = spreadsheet()
    with zipfile.ZipFile(io.BytesIO(whole)) as archive:
        part = archive.getinfo("xl/workbook.xml")
    at = part.header_offset + 30 + len(part.filename)
    with pytest.raises(REFUSED):
        read_matrix(whole[:at] + b"\xff\xff\xff" + whole[at + 3 :])


def test_a_bomb_is_refused_before_it_is_unpacked() -> None:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * 300_000_000)
    with pytest.raises(REFUSED):
        read_matrix(file.getvalue())
