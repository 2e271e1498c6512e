"""More than a hundred files that are no matrix of one unit, each with codes of which one must be named."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime, time
from typing import Any

from openpyxl import Workbook

Rows = list[list[Any]]
GOOD: Rows = [
    ["position", "2", "3", "4"],
    ["P", "0.4", "OL", "OL"],
    ["R", "OL", "0.5", "OL"],
    ["N", "OL", "OL", "cont"],
]
UNREADABLE = {"matrix_unreadable", "matrix_not_text", "matrix_empty", "pair_needed", "pin_unknown"}
Case = tuple[str, bytes, set[str]]


def changed(row: int, column: int, value: Any) -> Rows:
    return [[value if (r, c) == (row, column) else cell for c, cell in enumerate(cells)]
            for r, cells in enumerate(GOOD)]  # fmt: skip


def as_csv(rows: Rows, separator: str = ",") -> bytes:
    lines = (separator.join("" if cell is None else f"{cell}" for cell in row) for row in rows)
    return ("\r\n".join(lines) + "\r\n").encode()


def as_xlsx(rows: Rows, change: Callable[[Any], None] | None = None) -> bytes:
    book = Workbook()
    for row in rows:
        book.active.append(row)
    if change is not None:
        change(book)
    kept = io.BytesIO()
    book.save(kept)
    return kept.getvalue()


def repacked(change: Callable[[str, bytes], bytes | None], extra: dict[str, bytes] | None = None) -> bytes:
    """A good XLSX with parts changed (None: left out) and others added."""
    kept = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(as_xlsx(GOOD))) as old,
        zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            content = change(name, old.read(name))
            if content is not None:
                new.writestr(name, content)
        for name, content in (extra or {}).items():
            new.writestr(name, content)
    return kept.getvalue()


def same(name: str, content: bytes) -> bytes:
    return content


def replaced(part: str, old: bytes, new: bytes) -> bytes:
    def change(name: str, content: bytes) -> bytes:
        return content.replace(old, new, 1) if name == part else content

    return repacked(change)


SHEET = "xl/worksheets/sheet1.xml"
ALL_MERGED = b'</sheetData><mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>'
WRONG_CELLS: list[tuple[str, Any, set[str]]] = [
    ("a word", "good", {"reading_unreadable"}),
    ("negative", "-0.4", {"reading_negative"}),
    ("ambiguous", "1.200.000", {"reading_grouped", "reading_ambiguous", "reading_unreadable"}),
    ("milli or mega", "1m2", {"reading_milli_or_mega"}),
    ("absurd", "1e30", {"reading_absurd", "reading_unreadable"}),
    ("above", ">2k", {"reading_above"}),
    ("exponent or code", "4E7", {"reading_exponent_or_code"}),
    ("tolerance", "4k7J", {"reading_tolerance", "reading_unreadable"}),
    ("two figures", "0.4 0.5", {"reading_unreadable", "reading_grouped"}),
    ("a formula", "=A1", {"matrix_formula"}),
    ("a function", '=HYPERLINK("x")', {"matrix_formula"}),
    ("an at sign", "@SUM(1)", {"matrix_formula"}),
    ("a link", "http://x.example", {"reading_unreadable"}),
    ("volts", "12 V", {"reading_unreadable"}),
    ("a day", "4-Jul", {"reading_unreadable"}),
    ("very long", "9" * 80, {"cell_too_long"}),
    ("a symbol", "☠", {"reading_unreadable"}),
    ("full-width letters", "ＯＬＤ", {"reading_unreadable"}),
    ("html", "<b>0.4</b>", {"reading_unreadable"}),
    ("a number in words", "null point four", {"reading_unreadable"}),
]
WRONG_HEADS: list[tuple[str, Any, set[str]]] = [
    ("unknown pin", "9", {"pin_unknown"}),
    ("no pin", "", {"pin_missing"}),
    ("the common itself", "1", {"same_pin"}),
    ("one pin twice", "3", {"label_twice"}),
    ("a pair with itself", "2/2", {"same_pin"}),
    ("a pair with an unknown pin", "2/9", {"pin_unknown"}),
    ("three pins", "2/3/4", {"pair_needed"}),
    ("a pair the other way round", "1/3", {"label_twice"}),
    ("a word", "line", {"pin_unknown"}),
    ("a decimal", "2.0", {"pin_unknown"}),
]
WRONG_POSITIONS: list[tuple[str, Any, set[str]]] = [
    ("unknown position", "Q", {"position_unknown"}),
    ("no position", "", {"position_missing"}),
    ("one position twice", "R", {"label_twice"}),
    ("a gap between strangers", "P/N", {"gap_unknown"}),
    ("a gap to nowhere", "P/Q", {"position_unknown"}),
    ("a number", "1", {"position_unknown"}),
    ("small letters", "p", {"position_unknown"}),
]


def _cells() -> Iterator[Case]:
    for kind, make in (("csv", as_csv), ("xlsx", as_xlsx)):
        for name, value, codes in WRONG_CELLS:
            if kind == "csv" and '"' in str(value):
                value = value.replace('"', "")
            yield f"{kind}: {name} as a reading", make(changed(2, 2, value)), codes
        for name, value, codes in WRONG_HEADS:
            yield f"{kind}: {name} at the head", make(changed(0, 1, value)), codes
        for name, value, codes in WRONG_POSITIONS:
            yield f"{kind}: {name} at the side", make(changed(1, 0, value)), codes
        yield (
            f"{kind}: no readings",
            make([row[:1] + [None] * 3 for row in GOOD]),
            {"pin_missing", "no_readings"},
        )
        empty = [GOOD[0], *([row[0], None, None, None] for row in GOOD[1:])]
        yield f"{kind}: heads and sides only", make(empty), {"no_readings"}
        yield f"{kind}: only the heads", make(GOOD[:1]), {"no_readings"}
        yield f"{kind}: only the sides", make([row[:1] for row in GOOD]), {"no_readings"}
        yield (
            f"{kind}: turned on its side",
            make([list(row) for row in zip(*GOOD, strict=True)]),
            {"pin_unknown"},
        )
        yield (
            f"{kind}: more readings than heads",
            make([*GOOD, ["R", "OL", "OL", "OL", "0.4"]]),
            {"pin_missing"},
        )
        yield f"{kind}: too many rows", make([*GOOD, *[["P", "OL"]] * 200]), {"matrix_too_large"}
        yield f"{kind}: too many columns", make([[*row, *["OL"] * 200] for row in GOOD]), {"matrix_too_large"}
        yield f"{kind}: a title above", make([["Unit 3"], *GOOD]), {"pin_missing", "position_unknown"}


def _texts() -> Iterator[Case]:
    yield "nothing", b"", {"matrix_empty"}
    yield "blanks", b"  \r\n \r\n", {"matrix_empty"}
    yield "separators", b",,,\r\n,,,\r\n", {"matrix_empty"}
    yield "latin-1", as_csv(changed(1, 0, "P")).replace(b"0.4", b"0.4\xb5"), {"matrix_not_text"}
    yield "utf-16", as_csv(GOOD).decode().encode("utf-16"), {"matrix_not_text"}
    yield "zero bytes", as_csv(GOOD).replace(b"OL", b"O\0L"), {"matrix_not_text"}
    yield "a picture", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), {"matrix_not_text"}
    yield "a PDF", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", {"matrix_not_text"}
    yield "an open quotation mark", b'position,2,3\r\nP,"0.4,OL\r\n', {"matrix_unreadable"}
    yield "text after a quotation", b'position,2,3\r\nP,"0.4"x,OL\r\n', {"matrix_unreadable"}
    yield "html", b"<html><table><tr><td>P</td></tr></table></html>", {"no_readings", *UNREADABLE}
    yield "json", b'{"P": {"2": "0.4"}}', {"no_readings", *UNREADABLE}
    yield "a huge file", b"position,2\r\n" + b"P,0.4\r\n" * 200_000, {"matrix_too_large"}
    yield "a great many empty lines", b"position,2\r\n" + b"\n" * 900_000, {"matrix_too_large"}
    yield "one endless line", b"P," * 300_000, {"matrix_too_large"}
    yield "one endless cell", b"position,2\r\nP," + b"9" * 500_000, {"matrix_unreadable", "cell_too_long"}
    yield "an old spreadsheet", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512), {"matrix_old_format"}
    yield "escape characters", as_csv(changed(1, 1, "0.4\x1b[2J")), {"matrix_not_text"}


def _books() -> Iterator[Case]:
    book = as_xlsx(GOOD)
    # A book's length varies with the time written into it; names of cases must not.
    cuts = {"4 bytes": 4, "30 bytes": 30, "200 bytes": 200, "half": len(book) // 2, "most": len(book) - 30}
    for name, cut in cuts.items():
        yield f"cut after {name}", book[:cut], {"matrix_unreadable"}
    yield "a zip of something else", _zip({"notes.txt": b"x"}), {"matrix_unreadable"}
    yield "an empty zip", _zip({}), {"matrix_unreadable"}
    yield "merged cells", as_xlsx(GOOD, lambda b: b.active.merge_cells("B2:C2")), {"matrix_merged"}
    yield (
        "everything merged",
        replaced(SHEET, b"</sheetData>", ALL_MERGED),
        {"matrix_merged"},
    )
    yield "merged heads", as_xlsx(GOOD, lambda b: b.active.merge_cells("B1:D1")), {"matrix_merged"}
    for value in (date(2026, 7, 4), datetime(2026, 7, 4, 8), time(4, 7), True, False):
        yield f"{value!r} as a reading", as_xlsx(changed(1, 1, value)), {"matrix_not_a_reading"}
    for value in ("#DIV/0!", "#N/A", "#REF!"):
        yield f"{value} as a reading", as_xlsx(changed(1, 1, value)), {"matrix_not_a_reading"}

    def second(b: Any) -> None:
        for row in GOOD:
            b["Sheet"].append(row)
            b["two"].append(row) if "two" in b.sheetnames else b.create_sheet("two").append(row)

    yield "two filled sheets", as_xlsx(GOOD, second), {"matrix_several"}
    yield "a chart of no cells", as_xlsx([]), {"matrix_empty"}
    yield "macros", repacked(same, {"xl/vbaProject.bin": b"x"}), {"matrix_macros"}
    yield "an old macro sheet", repacked(same, {"xl/macrosheets/sheet1.xml": b"<x/>"}), {"matrix_macros"}
    yield "controls", repacked(same, {"xl/activeX/activeX1.bin": b"x"}), {"matrix_macros"}
    yield (
        "links to other files",
        repacked(same, {"xl/externalLinks/externalLink1.xml": b"<x/>"}),
        {"matrix_links"},
    )
    yield "something embedded", repacked(same, {"xl/embeddings/one.bin": b"x"}), {"matrix_links"}
    yield "a bomb of one part", repacked(same, {"xl/media/one.xml": bytes(50_000_000)}), {"matrix_bomb"}
    yield "a bomb of many parts", repacked(same, {f"x/{n}.xml": b"" for n in range(300)}), {"matrix_bomb"}
    spaces = b" " * 4_000_000
    yield (
        "a sheet blown up by spaces",
        replaced(SHEET, b"<sheetData>", b"<sheetData>" + spaces),
        {"matrix_bomb"},
    )
    some = random.Random(7)
    crowd = b"".join(b'<c s="%d"/>' % some.randrange(10**6) for _ in range(250_000))
    crowded = b'<sheetData><row r="1">' + crowd + b"</row>"
    yield "a row of empty cells", replaced(SHEET, b"<sheetData>", crowded), {"matrix_bomb"}
    styles = b"".join(b'<xf a="%d"/>' % some.randrange(10**6) for _ in range(110_000))
    yield (
        "a crowd of styles",
        repacked(lambda n, c: c.replace(b"<cellXfs", styles + b"<cellXfs", 1) if n == "xl/styles.xml" else c),
        {"matrix_bomb"},
    )
    yield (
        "a crowd under another name",
        repacked(same, {"xl/x.bin": b"<x>" + crowd + b"</x>"}),
        {"matrix_bomb"},
    )
    yield "a flat bomb", repacked(same, {f"x/{n}.bin": bytes(99_000) for n in range(100)}), {"matrix_bomb"}
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "' + b"a" * 100 + b'"><!ENTITY b "' + b"&a;" * 100
    bomb += b'">]><x>&b;</x>'
    yield "an entity bomb", repacked(lambda n, c: bomb if n == SHEET else c), {"matrix_unreadable"}
    outside = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]><x>&a;</x>'
    yield "an entity from outside", repacked(lambda n, c: outside if n == SHEET else c), {"matrix_unreadable"}
    yield "no workbook", repacked(lambda n, c: None if n == "xl/workbook.xml" else c), {"matrix_unreadable"}
    yield "no sheet", repacked(lambda n, c: None if n == SHEET else c), {"matrix_unreadable", "matrix_empty"}
    yield "no types", repacked(lambda n, c: None if "Content_Types" in n else c), {"matrix_unreadable"}
    yield "a sheet that is no XML", repacked(lambda n, c: b"<<<" if n == SHEET else c), {"matrix_unreadable"}
    far = b'<sheetData><row r="1048576"><c r="A1048576"><v>1</v></c></row>'
    yield "something at the far end", replaced(SHEET, b"<sheetData>", far), {"matrix_too_large"}
    formula = b"<sheetData><row r='90'><c r='A90'><f>1+1</f><v>2</v></c></row>"
    yield "a formula with its figure", replaced(SHEET, b"<sheetData>", formula), {"matrix_formula"}


def _zip(parts: dict[str, bytes]) -> bytes:
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return kept.getvalue()


MALFORMED: list[Case] = [*_cells(), *_texts(), *_books()]
