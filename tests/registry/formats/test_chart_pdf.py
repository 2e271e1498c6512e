"""The print of a chart: the same bytes each time, every label of it, however large or strange the chart."""

from __future__ import annotations

from typing import Any

import pytest
from fpdf import FPDF

from registry.formats import print_parts
from registry.formats.cautions import caution_lines
from registry.formats.chart_pdf import ACROSS, HEIGHT, WIDTH, chart_pdf
from registry.formats.print_parts import PrintCavity, PrintFace


def chart(
    pins: int = 4, positions: tuple[str, ...] = ("P", "R", "N"), name: str = "Sweeper"
) -> dict[str, Any]:
    states = ["open", "closed", "resistive", None]
    standings = ["agreed", "provisional", "disputed", "thin", "unread"]
    cells = [
        {
            "position": position,
            "pin": str(pin),
            "against": "1",
            "between": between,
            "state": states[(n + pin) % 4],
            "standing": standings[(n + pin) % 5],
            "units": pin,
            "agreeing": pin,
            "ohm": {"typical": 470.0, "accept": [1, 2]},
        }
        for n, position in enumerate(positions)
        for between in (False, True)
        for pin in range(2, pins + 1)
    ]
    variant = {"variant": "a", "units": 5, "contributors": 3, "cells": cells}
    design = {
        "name": name,
        "positions": list(positions),
        "pins": [str(pin) for pin in range(1, pins + 1)],
        "common": "1",
        "uuid": "00000000-0000-4000-8000-000000000000",
    }
    return {"design": design, "variants": [variant]}


def face(pins: int = 4, columns: int = 8) -> PrintFace:
    cavities = [PrintCavity(str(n + 1), 1 + n // columns, 1 + n % columns) for n in range(pins)]
    return PrintFace([*cavities, PrintCavity("x", 1, columns + 1, empty=True)], "rib", "Into the switch.")


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, float, float]]:
    """Each text of the prints made in the test, with where it stands, mm."""
    found: list[tuple[str, float, float]] = []
    text, cell = FPDF.text, FPDF.cell

    def texts(self: FPDF, x: float, y: float, text_: str, *more: Any, **rest: Any) -> Any:
        found.append((text_, x, y))
        return text(self, x, y, text_, *more, **rest)

    def cells(self: FPDF, w: Any = None, h: Any = None, text_: str = "", *more: Any, **rest: Any) -> Any:
        found.append((text_, self.x + (w or 0), self.y + (h or 0)))
        return cell(self, w, h, text_, *more, **rest)

    monkeypatch.setattr(FPDF, "text", texts)
    monkeypatch.setattr(FPDF, "cell", cells)
    return found


def pages(made: bytes) -> int:
    return made.count(b"/Type /Page\n")


def test_the_same_chart_gives_the_same_bytes() -> None:
    made = chart_pdf(chart(), revision=3, state="published")
    assert made.startswith(b"%PDF-") and pages(made) == 1
    assert made == chart_pdf(chart(), revision=3, state="published")
    assert made != chart_pdf(chart(), revision=3, state="withdrawn")
    dated = chart_pdf(chart(), revision=3, state="published", published="2026-11-20T09:30:00Z")
    assert dated == chart_pdf(chart(), revision=3, state="published", published="2026-11-20T23:59:00Z")
    assert dated != made


@pytest.mark.parametrize(("pins", "count"), [(ACROSS + 1, 1), (ACROSS + 2, 2), (3 * ACROSS, 3)])
def test_a_wide_connector_goes_on_the_next_page(pins: int, count: int) -> None:
    assert pages(chart_pdf(chart(pins), revision=1, state="published")) == count


def test_a_long_travel_and_strange_labels_do_no_harm() -> None:
    labels = tuple(f"{sign}{n}" for n in range(10) for sign in "PÄ→\u200bΩ")
    assert pages(chart_pdf(chart(3, labels, "a\u0000b\n" * 60), revision=1, state="published")) > 5
    empty = {"design": chart()["design"], "variants": []}
    assert pages(chart_pdf(empty, revision=1, state="published")) == 1


def test_a_print_says_which_pin_sits_where_what_to_mind_and_where_it_is_found(
    written: list[tuple[str, float, float]], monkeypatch: pytest.MonkeyPatch
) -> None:
    coded: list[str] = []
    make = print_parts.segno.make
    monkeypatch.setattr(
        print_parts.segno, "make", lambda text, **how: (coded.append(text), make(text, **how))[1]
    )
    address = "https://registry.example/designs/1/revisions/3/"
    cautions = caution_lines("check")
    made = chart_pdf(
        chart(), revision=3, state="published", address=address, face=face(), cautions=cautions
    )  # fmt: skip
    texts = [text for text, _x, _y in written]
    assert pages(made) == 1 and coded == [address]
    assert {"1", "2", "3", "4"} <= set(texts) and "x" not in texts, "an empty cavity has no pin"
    assert set(map(str, cautions)) <= set(texts)
    assert any("never a certificate" in text for text in texts) and address in texts
    assert all(x <= WIDTH and y <= HEIGHT for _text, x, y in written)


def test_a_connector_that_was_drawn_anew_since_is_left_out(written: list[tuple[str, float, float]]) -> None:
    chart_pdf(chart(5), revision=1, state="published", face=face(4))
    assert "1" not in [text for text, _x, _y in written]
    chart_pdf(chart(5), revision=1, state="published", face=face(5))
    assert "1" in [text for text, _x, _y in written]


def test_thirteen_rows_under_a_connector_of_two_rows_stay_on_one_page() -> None:
    longest = tuple("PRND4321LMSUW")
    plain = chart(9, longest)
    plain["variants"][0]["cells"] = [c for c in plain["variants"][0]["cells"] if not c["between"]]
    how: dict[str, Any] = {"address": "https://registry.example/d/1/", "cautions": caution_lines("check")}
    assert pages(chart_pdf(plain, revision=1, state="published", face=face(9, 5), **how)) == 1


def test_on_a_print_of_many_pages_each_cell_stands_once(written: list[tuple[str, float, float]]) -> None:
    labels = tuple(f"q{n}" for n in range(30))
    plain = chart(2 * ACROSS + 2, labels)
    for n, cell in enumerate(plain["variants"][0]["cells"]):
        cell |= {"agreeing": n, "units": 100_000, "standing": "agreed"}
    assert pages(chart_pdf(plain, revision=1, state="published", face=face(2 * ACROSS + 2))) > 6
    counted = [text for text, _x, _y in written if " of 100000" in text]
    assert len(counted) == len(set(counted)) == len(plain["variants"][0]["cells"])
