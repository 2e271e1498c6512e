"""Checking a suspect and finding a design by readings: no account, nothing stored."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.test import Client

from registry.models import Design, Reading
from tests.registry.pages.made import CLOSED, PINS, account, made_sheet, readings
from tests.registry.pages.test_bench import filled


def check(client: Client, design: Design, **changed: str) -> str:
    answer = client.post(f"/designs/{design.uuid}/check/", {**filled(design, **changed), "unit_key": ""})
    assert answer.status_code == 200
    return answer.content.decode()


def test_faulty_unit_is_named_with_its_fault(
    client: Client, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(6)
    before = Reading.objects.count()
    page = check(client, design, R4="OL", L4="OL")
    assert "Faulty: a good unit would hardly read like this" in page
    causes = page.split("What would explain it")[1].split("Read next")[0]
    assert causes.count("Pin 4 never closes") == 1 and "no position" in causes
    assert "Pin 4 in R reads OL; closed in 6 of 6 good units." in page
    assert Reading.objects.count() == before


def test_good_unit_is_called_good(client: Client, design: Design, evidence: Callable[..., None]) -> None:
    evidence(6)
    assert "Good: it fits the pattern at the bench" in check(client, design)


def test_few_readings_cannot_tell_and_the_page_says_what_to_read(
    client: Client, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(6)
    answer = client.post(f"/designs/{design.uuid}/check/", {"r-1-2-1-1-0": "0.4", "read_at": "bench"})
    page = answer.content.decode()
    assert "Can&#x27;t tell yet" in page
    assert "Read next" in page
    assert "readings settle it; a full sheet is 25." in page


def test_line_stuck_to_the_common_is_named(
    client: Client, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(6)
    page = check(client, design, **{f"{position}6": "0.3" for position in CLOSED})
    assert "is stuck to the common" in page


def test_danger_is_said_first(client: Client, design: Design, committed: Callable[[], Any]) -> None:
    as_n = {"R2": "0.4", "R3": "OL", "R5": "0.4"}  # without line 4, R of these units reads as N does
    with committed():
        for n in range(6):
            reader = account(f"reader-{n}", f"Yard {n}")
            made_sheet(reader, design, f"unit {n}", readings=readings(**as_n))
    page = check(client, design, **as_n, R4="OL", L4="OL")
    assert page.index("Could release the starter in gear") < page.index("Verdict")


def test_design_without_a_pattern_says_so(client: Client, design: Design) -> None:
    assert "There is no agreed pattern of this design yet" in (
        client.get(f"/designs/{design.uuid}/check/").content.decode()
    )


def test_unreadable_reading_stands_beside_its_field(
    client: Client, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(4)
    answer = client.post(f"/designs/{design.uuid}/check/", {"r-1-2-1-1-0": "-4", "read_at": "bench"})
    assert answer.status_code == 400
    assert "a resistance never is" in answer.content.decode()


def test_switch_is_found_by_its_readings(
    client: Client, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(6)
    pins = PINS[1:]
    table = ["  " + " ".join(pins)]
    for position, closed in CLOSED.items():
        table.append(f"{position} " + " ".join("0.4" if pin in closed else "OL" for pin in pins))
    answer = client.post("/identify/", {"against": "1", "table": "\n".join(table)})
    page = answer.content.decode()
    assert f'href="/designs/{design.uuid}/">Ferry selector 12</a>' in page


def test_identify_names_the_reading_that_it_cannot_read(client: Client, db: None) -> None:
    answer = client.post("/identify/", {"against": "1", "table": "  2 3\nP 1k2k OL"})
    assert answer.status_code == 400
    assert "Pin 2 in P: “1k2k” is not a resistance." in answer.content.decode()
