"""One's own page: workshop, meters, tokens that are shown once, and the way out."""

from __future__ import annotations

import re

from django.test import Client

from registry.models import ApiToken, Contributor, Meter, Sheet, User
from tests.api.made import said_again
from tests.registry.pages.made import made_design, made_sheet


def test_workshop_and_miles_are_kept(client: Client, reader: User) -> None:
    client.force_login(reader)
    client.post("/account/own/", {"workshop": "Tollgate Yard", "distance_unit": "mi"})
    reader.refresh_from_db()
    assert reader.distance_unit == "mi"
    assert Contributor.objects.get(user=reader).workshop.name == "Tollgate Yard"  # type: ignore[union-attr]


def test_meter_is_kept_and_what_is_wrong_stands_beside_its_field(client: Client, reader: User) -> None:
    client.force_login(reader)
    answer = client.post("/account/own/meters/", {"meter_name": "", "lead_ohm": "much"})
    assert answer.status_code == 400
    assert answer.content.decode().count("error-line") == 2
    client.post("/account/own/meters/", {"meter_name": "old yellow", "apart_shows": "1", "lead_ohm": "0.3"})
    meter = Meter.objects.get(contributor__user=reader)
    assert (meter.apart_shows, meter.lead_resistances.get().ohm) == ("1", 0.3)


def test_token_is_shown_once_and_works_until_revoked(client: Client, reader: User) -> None:
    client.force_login(reader)
    said_again(client)
    made = client.post("/account/own/tokens/", {"name": "bench robot", "scopes": ["read"], "days": "30"})
    secret = re.search(r'<code id="secret">([^<]+)</code>', made.content.decode())
    assert secret is not None
    assert made["Cache-Control"] == "no-store"
    listed = client.get("/account/own/tokens/").content.decode()
    assert "bench robot" in listed
    assert secret[1] not in listed
    client.post("/account/own/tokens/", {"revoke": ApiToken.objects.get().token_key})
    assert not ApiToken.objects.exists()


def test_moderators_right_is_not_offered_to_others(client: Client, reader: User) -> None:
    client.force_login(reader)
    said_again(client)
    answer = client.post("/account/own/tokens/", {"name": "x", "scopes": ["moderate"], "days": "30"})
    assert answer.status_code == 400
    assert not ApiToken.objects.exists()


def test_erased_account_leaves_its_readings_under_the_pseudonym(client: Client, reader: User) -> None:
    sheet = made_sheet(reader, made_design(reader))
    name = Contributor.objects.get(user=reader).pseudonym
    client.force_login(reader)
    said_again(client)
    assert "This is not the address" in (
        client.post("/account/own/erase/", {"email": "another@workshop.example"}).content.decode()
    )
    client.post("/account/own/erase/", {"email": reader.email})
    assert not User.objects.filter(pk=reader.pk).exists()
    kept = Sheet.objects.get(pk=sheet.pk)
    assert kept.contributor.pseudonym == name
    assert kept.contributor.user is None
