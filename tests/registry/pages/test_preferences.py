"""Language, and km or miles: by browser, by cookie, by account; what is typed with a comma is read."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.utils import translation

from registry.models import Design, User
from tests.registry.pages.made import made_sheet

GERMAN = {"HTTP_ACCEPT_LANGUAGE": "de-CH, de;q=0.9, en;q=0.5"}


def heading(client: Client, path: str = "/", **headers: Any) -> str:
    page = client.get(path, **headers).content.decode()
    return page.split("<h1>")[1].split("</h1>")[0]


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("de-AT", "Welche Pins verbindet dieser Schalter, in welcher Stellung?"),
        ("es-MX, en;q=0.4", "¿Qué pines conecta este interruptor, y en qué posición?"),
        ("fr, it;q=0.4", "Which pins does this switch connect, in which position?"),
    ],
)
def test_browser_chooses_the_language(client: Client, db: None, asked: str, said: str) -> None:
    assert heading(client, HTTP_ACCEPT_LANGUAGE=asked) == said


def test_guest_chooses_in_the_foot_of_a_page_and_comes_back_to_it(client: Client, db: None) -> None:
    answer = client.post("/preferences/", {"language": "es", "next": "/about/?x=1"})
    assert (answer.status_code, answer["Location"]) == (302, "/about/?x=1")
    page = client.get("/about/", **GERMAN).content.decode()
    assert '<html lang="es">' in page
    assert "De la lectura al patrón" in page


@pytest.mark.parametrize("there", ["https://elsewhere.example/", "//elsewhere.example", "javascript:x", ""])
def test_nobody_is_led_elsewhere(client: Client, db: None, there: str) -> None:
    assert client.post("/preferences/", {"language": "de", "next": there})["Location"] == "/"


def test_unknown_language_changes_nothing(client: Client, db: None) -> None:
    client.post("/preferences/", {"language": "xx", "distance_unit": "parsec"})
    assert not client.cookies


def test_account_s_language_goes_before_the_browser_s(client: Client, reader: User) -> None:
    client.force_login(reader)
    client.post("/account/own/", {"distance_unit": "km", "language": "de"})
    assert '<html lang="de">' in client.get("/account/own/", HTTP_ACCEPT_LANGUAGE="es").content.decode()
    client.post("/preferences/", {"language": "es"})
    reader.refresh_from_db()
    assert reader.language == "es"


def test_choice_of_an_account_needs_its_token(reader: User) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(reader)
    assert strict.post("/preferences/", {"language": "de"}).status_code == 403
    assert Client(enforce_csrf_checks=True).post("/preferences/", {"language": "de"}).status_code == 302


def test_chart_of_guests_is_kept_for_each_language(client: Client, design: Design, evidence: Any) -> None:
    evidence(5)
    path = f"/designs/{design.uuid}/"
    english = client.get(path).content.decode()
    german = client.get(path, **GERMAN).content.decode()
    assert "5 of 5 units" in english
    assert "5 von 5 Exemplaren" in german
    assert "5 of 5 units" in client.get(path).content.decode()


def test_distance_is_kept_in_km_and_shown_as_the_reader_likes(client: Client, design: Design) -> None:
    sheet = made_sheet(User.objects.get(), design, distance_km=160.9344)
    path = f"/sheets/{sheet.uuid}/"
    assert "160.9 km" in client.get(path).content.decode()
    client.post("/preferences/", {"distance_unit": "mi"})
    assert "100 mi" in client.get(path).content.decode()
    assert "160,9 km" in Client().get(path, **GERMAN).content.decode()


def test_miles_of_the_account_stand_in_the_amended_form(client: Client, reader: User, design: Design) -> None:
    sheet = made_sheet(reader, design, distance_km=160.9344)
    reader.distance_unit = "mi"
    reader.save()
    client.force_login(reader)
    page = client.get(f"/sheets/{sheet.uuid}/amend/").content.decode()
    assert 'name="distance" value="100"' in page


def test_figures_carry_the_reader_s_decimal_mark() -> None:
    from registry.formats.figures import ohm_text, p_text

    with translation.override("de"):
        assert (ohm_text(0.412), p_text(0.934)) == ("0,41 Ω", "p = 0,93")
    with translation.override("es"):
        assert ohm_text(3900) == "3,9 kΩ"
    with translation.override("en"):
        assert (ohm_text(0.412), p_text(0.934)) == ("0.41 Ω", "p = 0.93")


@pytest.mark.parametrize("language", ["de", "es"])
def test_counts_follow_the_rules_of_the_language(language: str) -> None:
    from registry.pages.certainty import ngettext

    with translation.override(language):
        one, more = (ngettext("{n} unit", "{n} units", n).format(n=n) for n in (1, 2))
    assert (one, more) == {"de": ("1 Exemplar", "2 Exemplare"), "es": ("1 unidad", "2 unidades")}[language]


def test_fleet_is_told_distances_in_the_reader_s_unit(client: Client, reader: User) -> None:
    from registry.services.fleet.organisations import organisation_make

    reader.distance_unit = "mi"
    reader.save()
    client.force_login(reader)
    fleet = organisation_make(by=reader, body={"name": "Ferry Slip"})
    client.post(f"/fleet/{fleet.uuid}/", {"label": "ferry 2", "km": "1000,5"})
    (distance,) = fleet.vehicles.get().distances.all()
    assert distance.km == 1610.149
    page = client.get(f"/fleet/vehicles/{fleet.vehicles.get().uuid}/").content.decode()
    assert "1\u202f000.5 mi" in page
    assert "Distance (mi)" in page
    client.post(
        f"/fleet/{fleet.uuid}/care/", {"act": "policy", "name": "F", "policy_km": "100", "next_km": "10"}
    )
    fleet.refresh_from_db()
    assert fleet.policy_km == 160.934
    assert 'name="policy_km" inputmode="decimal" value="100"' in (
        client.get(f"/fleet/{fleet.uuid}/care/").content.decode()
    )
