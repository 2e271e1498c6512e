"""Blank sheets: one page, a number of its own, entered later under that number."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from registry.formats.blank_sheet import HEIGHT, WIDTH, BlankSheet, blank_pdf
from registry.formats.print_parts import PrintCavity, PrintFace
from registry.models import Design, User


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


def test_each_blank_sheet_has_its_own_number(client: Client, design: Design) -> None:
    answers = [client.get(f"/designs/{design.uuid}/blank.pdf") for _ in range(2)]
    names = [answer["Content-Disposition"] for answer in answers]
    assert names[0] != names[1]
    assert all(pages(answer.content) == 1 for answer in answers)


def test_number_of_a_blank_sheet_names_the_sheet(client: Client, reader: User, design: Design) -> None:
    client.force_login(reader)
    page = client.get(f"/designs/{design.uuid}/bench/?number=B-2345678").content.decode()
    assert 'name="name" value="B-2345678"' in page


@pytest.mark.parametrize(("pins", "positions"), [(2, 2), (8, 7), (16, 24), (64, 64)])
def test_any_shape_fits_one_page_of_a4_and_letter(pins: int, positions: int) -> None:
    cavities = [PrintCavity(str(n), 1 + n // 16, 1 + n % 16, n == 3) for n in range(pins)]
    sheet = BlankSheet(
        design="Ferry selector Ω",
        number="B-2345678",
        address="http://localhost/designs/x/bench/",
        face=PrintFace(cavities, "rib above pin 1", "Drawn as you look into the switch."),
        columns=[f"Pin {n}" for n in range(1, pins)],
        positions=[(f"P{n}", "park") for n in range(positions)],
        cautions=["Notice: unplug it"],
    )
    assert pages(blank_pdf(sheet)) == 1
    assert WIDTH <= 210.0 and HEIGHT <= 279.4  # mm: A4 is 210 wide, Letter 279.4 high (ISO 216, ANSI Y14.1)
