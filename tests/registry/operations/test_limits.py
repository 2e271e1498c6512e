"""Floods are slowed: sheets by age and fit, sign-ups by address block; moderators need a second factor."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.auth.hashers import make_password
from django.core.exceptions import PermissionDenied
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.errors import RegistryErrors
from registry.models import ChartRevision, Contributor, Design, Sheet, SheetFinding, SignUpBlock, User
from registry.permissions import may, require
from registry.services.accounts import contributor_of
from registry.services.allowance import sheet_allowance
from registry.services.charts import chart_refresh
from registry.services.sheet_bulk import sheets_submit
from registry.services.sheets import sheet_amend, sheet_submit
from registry.services.sign_ups import sign_up_allowed
from tests.api.made import made_user, sheet_body
from tests.registry.moderation.made import account

pytestmark = pytest.mark.django_db
NEW = 4


@pytest.fixture(autouse=True)
def limits(settings: Any) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    settings.BENCHQUORUM_SIGN_UPS = 3


def aged(user: User, days: int) -> Contributor:
    user.date_joined = timezone.now() - timedelta(days=days)
    user.save(update_fields=["date_joined"])
    return contributor_of(user)


def judged(contributor: Contributor, design: Design, fitting: int, others: int, days_ago: int = 2) -> None:
    """Sheets of earlier days with findings of that kind."""
    for n in range(fitting + others):
        sheet = sheet_submit(by=contributor.user, body=sheet_body(design))  # type: ignore[arg-type]
        Sheet.objects.filter(pk=sheet.pk).update(created_at=timezone.now() - timedelta(days=days_ago))
        if n == 0:
            chart_refresh(design_id=design.pk)
        SheetFinding.objects.update_or_create(
            sheet=sheet,
            defaults={
                "finding": "fits" if n < fitting else "unexplained",
                "p": 0.9,
                "body": {},
                "revision": ChartRevision.objects.latest("pk"),
            },
        )


def test_a_new_account_is_stopped_and_told_what_is_left(reader: User, design: Design) -> None:
    body = sheet_body(design)
    for n in range(NEW):
        body = sheet_body(design, unit={"key": str(n)})
        sheet_submit(by=reader, body=body)
    with pytest.raises(RegistryErrors) as refused:
        sheet_submit(by=reader, body=sheet_body(design))
    assert [error.code for error in refused.value] == ["allowance_used"]
    assert "0 are left" in refused.value.errors[0].message
    assert sheet_submit(by=reader, body=body).client_id  # a replay is no new sheet


def test_an_amendment_counts_as_a_sheet(reader: User, design: Design) -> None:
    """Amending moves a chart as sending does, and who takes an account over finds sheets to amend."""
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    for number in range(1, NEW):
        amend(sheet, number)
    with pytest.raises(RegistryErrors) as refused:
        amend(sheet, NEW)
    assert [error.code for error in refused.value] == ["allowance_used"]
    with pytest.raises(RegistryErrors):
        sheet_submit(by=reader, body=sheet_body(design))


def test_a_second_pass_is_part_of_its_sheet(reader: User, design: Design) -> None:
    first = sheet_body(design)
    changed = [{**reading, "reading": "OL"} for reading in first["readings"]]
    sheet = sheet_submit(by=reader, body={**first, "second_pass": changed})
    assert sheet.versions.count() == 2
    assert sheet_allowance(sheet.contributor).left == NEW - 1


def test_who_has_sent_far_more_than_is_left_is_told_to_wait_for_as_many(
    reader: User, design: Design, settings: Any
) -> None:
    """The allowance has shrunk since: it helps nothing that the oldest sheet is a day old soon."""
    settings.BENCHQUORUM_NEW_SHEETS = 0
    sheets = [sheet_submit(by=reader, body=sheet_body(design, unit={"key": str(n)})) for n in range(NEW + 2)]
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    for hours, sheet in zip((23, 22, 3, 2, 1, 0), sheets, strict=True):
        Sheet.objects.filter(pk=sheet.pk).update(created_at=timezone.now() - timedelta(hours=hours))
    with pytest.raises(RegistryErrors) as refused:
        sheet_submit(by=reader, body=sheet_body(design))
    assert refused.value.wait == pytest.approx(21 * 3600, abs=60)  # three must be a day old


def amend(sheet: Sheet, number: int) -> None:
    assert sheet.contributor.user is not None
    body = sheet_body(sheet.design, unit={"key": sheet.unit.key})
    sheet_amend(by=sheet.contributor.user, sheet=sheet, on_version=number, body=body, reason="Read again.")


def test_what_is_left_stands_on_the_page(reader: User, design: Design, client: Client) -> None:
    sheet_submit(by=reader, body=sheet_body(design))
    client.force_login(reader)
    assert f"{NEW - 1} more sheets today, of {NEW} a day" in client.get(reverse("my_sheets")).content.decode()


def test_in_bulk_the_rest_is_refused_one_by_one(reader: User, design: Design) -> None:
    taken = sheets_submit(by=reader, bodies=[sheet_body(design) for _ in range(NEW + 2)])
    assert [bool(one.errors) for one in taken] == [False] * NEW + [True] * 2
    assert Sheet.objects.count() == NEW


@pytest.mark.parametrize(("days", "times"), [(0, 1), (6, 1), (8, 3), (29, 3), (31, 15), (170, 15)])
def test_the_limit_grows_with_the_age_of_the_first_sheet(
    reader: User, design: Design, days: int, times: int
) -> None:
    first_sheet(reader, design, days_ago=days)
    assert sheet_allowance(aged(reader, 400)).a_day == NEW * times


def first_sheet(user: User, design: Design, days_ago: int) -> None:
    sheet = sheet_submit(by=user, body=sheet_body(design))
    Sheet.objects.filter(pk=sheet.pk).update(created_at=timezone.now() - timedelta(days=days_ago))


def test_an_account_kept_in_a_drawer_is_as_new(reader: User, design: Design) -> None:
    """However old, it sends on its first day what any new one may."""
    owner = aged(reader, 400)
    assert sheet_allowance(owner).a_day == NEW
    taken = sheets_submit(by=reader, bodies=[sheet_body(design) for _ in range(NEW + 1)])
    assert [bool(one.errors) for one in taken] == [False] * NEW + [True]
    assert sheet_allowance(owner).a_day == NEW


def test_sheets_that_fit_double_it_and_sheets_that_do_not_set_it_back(
    reader: User, design: Design, settings: Any
) -> None:
    settings.BENCHQUORUM_NEW_SHEETS = 0
    judged(aged(reader, 2), design, fitting=5, others=0)
    other = made_user("careless")
    judged(aged(other, 40), design, fitting=2, others=4, days_ago=40)
    settings.BENCHQUORUM_NEW_SHEETS = NEW
    assert sheet_allowance(contributor_of(reader)).a_day == 2 * NEW
    assert sheet_allowance(contributor_of(other)).a_day == NEW


def test_an_account_that_wakes_after_half_a_year_is_as_new(reader: User, design: Design) -> None:
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    owner = aged(reader, 400)
    Sheet.objects.filter(pk=sheet.pk).update(created_at=timezone.now() - timedelta(days=300))
    assert sheet_allowance(owner).a_day == NEW
    sheet_submit(by=reader, body=sheet_body(design))
    assert sheet_allowance(owner).a_day == NEW  # and stays so for a week


def test_an_address_block_makes_so_many_accounts_a_day() -> None:
    assert [sign_up_allowed(address=f"192.0.2.{n}") for n in range(5)] == [True] * 3 + [False] * 2
    assert sign_up_allowed(address="198.51.100.1")
    assert all("192.0" not in row.digest for row in SignUpBlock.objects.all())


def sign_up(client: Client, email: str) -> Any:
    word = "a long pass phrase"
    return client.post(reverse("account_signup"), {"email": email, "password1": word, "password2": word})


def test_the_page_refuses_the_fourth_sign_up(client: Client, settings: Any) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    for n in range(4):
        answer = sign_up(Client(), f"new{n}@workshop.example")
    assert "Try again tomorrow" in answer.content.decode()
    assert User.objects.filter(email__startswith="new").count() == 3


def test_a_typing_error_is_no_sign_up(client: Client, settings: Any) -> None:
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    for words in (("a long pass phrase", "another"), ("short", "short"), ("", "")):
        for n in range(3):
            form = {"email": f"new{n}@workshop.example", "password1": words[0], "password2": words[1]}
            assert Client().post(reverse("account_signup"), form).status_code == 200
    assert not SignUpBlock.objects.exists()
    assert sign_up(client, "new@workshop.example").status_code == 302


def test_signing_up_takes_as_long_for_an_address_that_is_known(settings: Any, monkeypatch: Any) -> None:
    """What takes the time is one hash of the pass phrase."""
    settings.ACCOUNT_EMAIL_VERIFICATION = "mandatory"
    hashed: list[str] = []

    def counted(password: str | None) -> str:
        hashed.append(password or "")
        return make_password(password)

    monkeypatch.setattr("django.contrib.auth.base_user.make_password", counted)
    user = made_user("known")
    for email in ("unknown@workshop.example", user.email):
        hashed.clear()
        assert sign_up(Client(), email).status_code == 302
        assert hashed == ["a long pass phrase"], email


def test_a_moderator_without_second_factor_is_nobody_special(settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = True
    moderator = account("desk", moderator=True)
    assert not may(moderator, "moderate")
    with pytest.raises(PermissionDenied, match="second factor"):
        require(moderator, "moderate")
    Authenticator.objects.create(user=moderator, type=Authenticator.Type.TOTP, data={})
    assert may(moderator, "moderate")


def test_the_desk_is_closed_to_a_moderator_without_one(client: Client, settings: Any) -> None:
    moderator = account("desk", moderator=True)
    client.force_login(moderator)
    assert client.get(reverse("desk")).status_code == 200
    settings.BENCHQUORUM_MODERATOR_MFA = True
    assert client.get(reverse("desk")).status_code == 403
