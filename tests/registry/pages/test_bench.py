"""The bench sheet as a plain form: every fault beside its field, compared before it is sent, sent once."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from django.test import Client

from registry.models import Design, Sheet, User
from registry.pages.sheet_grid import sheet_grid
from registry.selectors.bench_page import design_for_bench
from tests.registry.pages.made import made_design, reading_of

CLIENT_ID = "0b7f8a52-6f0e-4a53-9d3c-1f6d8f3d2a11"


def grid_of(design: Design) -> Any:
    found = design_for_bench(design.uuid)
    assert found is not None
    return sheet_grid(found)


def filled(design: Design, **changed: str) -> dict[str, str]:
    """A whole sheet as the form posts it."""
    values = {
        place.name: changed.get(
            f"{place.position.label}{place.pin.label}", reading_of(place.position.label, place.pin.label)
        )
        for place in grid_of(design).places
    }
    head = {"client_id": CLIENT_ID, "unit_key": "ferry 2", "measured_it_myself": "on", "apart_shows": "1"}
    return {**head, "held_good": "worked", "source_class": "original", "read_at": "bench", **values}


def post(client: Client, design: Design, act: str, values: dict[str, str]) -> Any:
    return client.post(f"/designs/{design.uuid}/bench/", {**values, "act": act})


def test_grid_goes_pin_by_pin_through_the_positions(design: Design) -> None:
    places = grid_of(design).places
    assert [(p.pin.label, p.position.label) for p in places[:6]] == [
        ("2", "P"), ("2", "R"), ("2", "N"), ("2", "D"), ("2", "L"), ("3", "P"),
    ]  # fmt: skip
    assert len({place.name for place in places}) == len(places) == 25


def test_way_back_runs_the_other_way(design: Design) -> None:
    found = design_for_bench(design.uuid)
    assert found is not None
    places = sheet_grid(found, sweeps=2, between=True).places
    pin_2 = [(p.position.label, p.sweep, p.between) for p in places if p.pin.label == "2"]
    assert pin_2[0] == ("P", 1, False)
    assert pin_2[1] == ("P", 1, True)
    assert pin_2[8:10] == [("L", 1, False), ("L", 2, False)]  # nothing lies behind the last detent
    assert pin_2[-1] == ("P", 2, False)


def test_design_without_a_common_is_read_at_every_pair(reader: User) -> None:
    paired = made_design(reader, "Winch selector", common=None, pins=["1", "2", "3", "4"])
    assert [(a.label, b.label) for a, b in grid_of(paired).pairs] == [
        ("1", "2"), ("1", "3"), ("1", "4"), ("2", "3"), ("2", "4"), ("3", "4"),
    ]  # fmt: skip


def test_guest_is_asked_to_sign_in(client: Client, design: Design) -> None:
    answer = client.get(f"/designs/{design.uuid}/bench/")
    assert answer.status_code == 302
    assert answer.url.startswith("/account/login/")  # type: ignore[attr-defined]


def test_every_fault_stands_beside_its_field_and_nothing_is_stored(
    client: Client, reader: User, design: Design
) -> None:
    client.force_login(reader)
    values = filled(design, R4="1k2k", D3="1,200") | {"unit_key": "", "lead_ohm": "much"}
    answer = post(client, design, "compare", values)
    page = answer.content.decode()
    assert answer.status_code == 400
    assert page.count('class="error-line"') >= 4
    assert 'id="r-2-4-1-1-0-wrong"' in page
    assert "“1k2k” is not a resistance" in page
    assert 'value="1k2k"' in page  # what was typed is still there
    assert not Sheet.objects.exists()


def test_comparison_is_shown_after_the_readings_and_nothing_is_stored(
    client: Client, reader: User, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(4)
    client.force_login(reader)
    assert "closed in 4 of 4" not in client.get(f"/designs/{design.uuid}/bench/").content.decode()
    page = post(client, design, "compare", filled(design, R4="1")).content.decode()
    assert "24 of 25 readings agree with 4 units." in page
    assert "Pin 4 in R reads OL in your unit; closed in 4 of 4 good ones." in page
    assert Sheet.objects.filter(contributor__user=reader).count() == 0


def test_second_unit_is_told_what_it_adds(
    client: Client, reader: User, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(1)
    client.force_login(reader)
    page = post(client, design, "compare", filled(design)).content.decode()
    assert "You are the second unit. After it, 3 more units are needed for “agreed”." in page


def test_first_pass_and_second_pass_are_told_apart(
    client: Client, reader: User, design: Design, evidence: Callable[..., None]
) -> None:
    evidence(4)
    client.force_login(reader)
    first = filled(design, R4="OL")
    seen = json.dumps({name: value for name, value in first.items() if name.startswith("r-")})
    answer = post(client, design, "send", filled(design, R4="0.5") | {"first": seen})
    assert answer.status_code == 302
    readings = Sheet.objects.get(contributor__user=reader).versions.get(is_current=True).readings
    assert [r.as_typed for r in readings.filter(first_pass=False)] == ["0.5"]


def test_sheet_sent_twice_is_one_sheet(client: Client, reader: User, design: Design) -> None:
    client.force_login(reader)
    addresses = {post(client, design, "send", filled(design)).url for _ in range(3)}
    sheet = Sheet.objects.get(contributor__user=reader)
    assert addresses == {f"/sheets/{sheet.uuid}/"}


def test_meter_is_remembered_for_the_next_sheet(client: Client, reader: User, design: Design) -> None:
    client.force_login(reader)
    post(client, design, "send", filled(design) | {"meter_name": "old yellow", "lead_ohm": "0.3"})
    page = client.get(f"/designs/{design.uuid}/bench/").content.decode()
    assert 'value="old yellow"' in page
    assert 'value="0.3"' in page
    assert 'name="apart_shows" value="1"' in page


def test_miles_are_kept_as_kilometres(client: Client, reader: User, design: Design) -> None:
    client.force_login(reader)
    post(client, design, "send", filled(design) | {"distance": "1000,5", "distance_unit": "mi"})
    version = Sheet.objects.get(contributor__user=reader).versions.get(is_current=True)
    assert version.distance_km == 1610.149  # 1000.5 × 1.609344, international mile
