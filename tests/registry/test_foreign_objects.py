"""What is one account's own: its owner gets to it, and nobody else, at every address and by every method.

Made from the URL table: an address with an object in it is either named here or open by its nature.
"""

from __future__ import annotations

import io
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from registry.models import Decision, Dispute, JobFact, User, WebhookDelivery, Work
from registry.services.accounts import account_erase, contributor_of, workshop_join
from registry.services.charts import chart_refresh
from registry.services.facts import fact_answer
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.starting import job_start
from registry.services.pictures import picture_add
from registry.services.sheets import sheet_submit
from registry.services.tokens import token_make
from registry.services.webhooks.keeping import webhook_make
from tests.api.made import made_design, made_user, sheet_body
from tests.registry.access_matrix import METHODS, Address, addresses
from tests.registry.moderation.made import account

pytestmark = pytest.mark.django_db
STRANGERS = (
    "guest",
    "other",
    "colleague",
    "moderator",
    "suspended",
    "erased",
    "token",
    "token without rights",
)
# open to read, or to a desk, by its nature; who may do what there: test_access.py
OPEN = """
    account_confirm_email account_reset_password_from_key api_approve api_case api_chart
    api_decision api_design api_design_part api_difference api_dispute api_fact_answer api_facts
    api_life api_line_code api_messages api_readings api_refuse api_revision api_revision_readings
    api_revisions api_short_test api_submission api_undo bench blank case case_act case_claim
    check_design compare decision_undo design desk_account desk_design desk_part
    desk_refresh dispute dispute_new fleet_feed fleet_join follow_design import_file import_template
    invitation job_link life life_csv mail_stop matrix matrix_blank offline_json own_design
    own_shared preparation qr revision sheet thread_write
""".split()  # noqa: SIM905
# of the owner's objects, which one stands in the address
PRIVATE: dict[str, str] = {
    **dict.fromkeys(["webhook", "api_webhook", "api_deliveries", "api_delivery_replay"], "webhook"),
    **dict.fromkeys(["api_webhook_replay", "api_webhook_secret"], "webhook"),
    **dict.fromkeys(["mfa_edit_webauthn", "mfa_remove_webauthn"], "key"),
    **dict.fromkeys(["api_take_back"], "dispute"),
    **dict.fromkeys(
        ["api_fleet", "api_vehicles", "fleet", "fleet_care", "fleet_csv", "fleet_table"], "fleet"
    ),
    **dict.fromkeys(
        ["api_vehicle", "api_distances", "api_vehicle_units", "vehicle", "vehicle_begin"], "vehicle"
    ),
    **dict.fromkeys(["api_job", "api_job_give", "api_job_outcome", "api_job_recheck"], "job"),
    **dict.fromkeys(["api_job_reopen", "api_job_report", "api_job_steps", "job", "job_identify"], "job"),
    **dict.fromkeys(["job_link_change", "job_picture", "job_recheck", "job_reopen", "job_report"], "job"),
    **dict.fromkeys(["job_send", "job_step", "job_take_over"], "job"),
    **dict.fromkeys(
        ["api_pictures", "api_picture", "api_restore", "api_unit_events", "api_withdraw"], "sheet"
    ),
    **dict.fromkeys(["sheet_amend", "sheet_picture", "sheet_restore", "sheet_withdraw"], "sheet"),
    "api_token": "token",
    "decision_agree": "decision",
    "picture_file": "sheet",
    "api_work": "work",
    "unit": "unit",
}
FURTHER = {"picture": "picture", "delivery": "delivery"}
WORDS = {"order": 1, "what": "new_unit", "step": "ruled_out"}
NOT_HERE = ("job_picture", "job_take_over")  # it has no picture, and is in an account already
ALSO = {("moderator", "picture_file")}  # who decides about a sheet sees its pictures
REFUSED = (401, 403, 404, 405, 410)


def objects(owner: User) -> dict[str, Any]:
    """One of everything that an account has of its own."""
    design = made_design(owner)
    sheet = sheet_submit(by=owner, body=sheet_body(design))
    chart_refresh(design_id=design.pk)
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    file = io.BytesIO()
    Image.new("RGB", (40, 30)).save(file, "JPEG")
    picture = picture_add(by=owner, sheet=sheet, upload=SimpleUploadedFile("plug.jpg", file.getvalue()))
    webhook, _secret = webhook_make(by=owner, body={"url": "https://hooks.example.org/in"})
    delivery = WebhookDelivery.objects.create(
        webhook=webhook, body="{}", first=1, last=1, next_at=timezone.now()
    )
    fact_answer(by=owner, design=design, body={"question": "minutes", "quantity": 40, "source": "did_it"})
    token, _shown = token_make(by=owner, name="mine", scopes=["read"])
    key = Authenticator.objects.create(user=owner, type=Authenticator.Type.WEBAUTHN, data={"name": "key"})
    return {
        "sheet": sheet.uuid,
        "unit": sheet.unit.uuid,
        "picture": picture.uuid,
        "fleet": fleet.uuid,
        "vehicle": vehicle_add(by=owner, organisation=fleet, body={"label": "7", "km": 3}).uuid,
        "job": job_start(by=owner, body={"symptom": "silent", "design": str(design.uuid)}).job.uuid,
        "webhook": webhook.uuid,
        "delivery": delivery.uuid,
        "fact": JobFact.objects.get().uuid,
        "token": token.token_key,
        "key": key.pk,
        "work": Work.objects.create(user=owner, kind="import", asked={}).uuid,
        "decision": Decision.objects.create(
            kind="set_aside",
            target_kind="sheet",
            target_uuid=sheet.uuid,
            reason="worn leads",
            state="waiting",
            proposer=account("who-decided", moderator=True),
        ).uuid,
        "dispute": Dispute.objects.create(
            target_kind="sheet", target_uuid=sheet.uuid, opened_by=owner, reason="the plug was dirty"
        ).uuid,
    }


def path(address: Address, own: dict[str, Any]) -> str:
    first = True
    values: dict[str, Any] = {}
    for name in address.parameters:
        if name in WORDS:
            values[name] = WORDS[name]
        elif name in FURTHER and not first:
            values[name] = own[FURTHER[name]]
        else:
            values[name] = own[PRIVATE[address.name]]
        first = False
    return reverse(address.name, kwargs=values)


def stranger(kind: str) -> tuple[Client, dict[str, str]]:
    """Somebody else, and the headers that they send."""
    client = Client(raise_request_exception=False)
    if kind == "guest":
        return client, {}
    user = account(kind.replace(" ", "-"), moderator=kind == "moderator")
    workshop_join(by=user, name="Quay Street Depot" if kind == "colleague" else "elsewhere")
    if kind.startswith("token"):
        scopes = ["read", "submit"] if kind == "token" else ["read"]
        return client, {"Authorization": f"Token {token_make(by=user, name='x', scopes=scopes)[1]}"}
    client.force_login(user)
    if kind == "suspended":
        User.objects.filter(pk=user.pk).update(suspended_at=timezone.now())
    if kind == "erased":
        session = client.cookies.copy()
        account_erase(by=user)
        client.cookies = session  # the browser still sends it
    return client, {}


def asked(client: Client, method: str, at: str, headers: dict[str, str]) -> tuple[int, str]:
    point = transaction.savepoint()
    if at.startswith("/api/") and method != "get":
        answer = getattr(client, method)(
            at,
            {"reason": "a test", "since": 0},
            content_type="application/json",
            headers={"If-Match": '"1"', **headers},
        )
    else:
        answer = getattr(client, method)(at, headers=headers)
    if answer.streaming:
        b"".join(answer)  # a file is closed when it has been read
    transaction.savepoint_rollback(point)
    return answer.status_code, answer.headers.get("Location", "")


def test_every_address_with_an_object_is_named() -> None:
    with_object = {address.name for address in addresses() if address.parameters}
    assert with_object == {*OPEN, *PRIVATE}
    assert not set(OPEN) & set(PRIVATE)


def test_nobody_else_gets_to_what_is_ones_own() -> None:
    owner = made_user("owner")
    workshop_join(by=owner, name="Quay Street Depot")
    own = objects(owner)
    people = {kind: stranger(kind) for kind in STRANGERS}
    wrong, count = [], 0
    for address in addresses():
        if address.name not in PRIVATE:
            continue
        for kind, (client, headers) in people.items():
            for method in METHODS:
                count += 1
                status, location = asked(client, method, path(address, own), headers)
                to_sign_in = status == 302 and (
                    "/account/login/" in location or "/reauthenticate/" in location
                )
                if status not in REFUSED and not to_sign_in and (kind, address.name) not in ALSO:
                    wrong.append(f"{kind} {method} {address.name}: {status} {location}")
    assert not wrong, "\n".join(wrong)
    assert count > 1300


def test_its_owner_gets_to_each() -> None:
    """By one method at least: were the address wrong, nobody would, and the test above would say nothing."""
    owner = made_user("owner")
    own = objects(owner)
    client = Client(raise_request_exception=False)
    client.force_login(owner)
    missed = []
    for address in addresses():
        if address.name in PRIVATE:
            found = {asked(client, method, path(address, own), {})[0] for method in METHODS}
            reached = found - set(REFUSED) or address.name in NOT_HERE
            if not reached or max(found) >= 500:
                missed.append(f"{address.name}: {sorted(found)}")
    assert not missed, "\n".join(missed)


def test_an_appeal_is_between_its_owner_and_the_desk() -> None:
    """Addresses that are open for other disputes."""
    owner = made_user("owner")
    workshop_join(by=owner, name="Quay Street Depot")
    account_of = contributor_of(owner).uuid
    appeal = Dispute.objects.create(
        target_kind="account", target_uuid=account_of, opened_by=owner, reason="I read them"
    )
    new = reverse("dispute_new", kwargs={"kind": "account", "uuid": account_of})
    thread = reverse("dispute", kwargs={"uuid": appeal.uuid})
    messages = reverse("api_messages", kwargs={"dispute": appeal.uuid})
    write = reverse("thread_write", kwargs={"uuid": appeal.uuid})
    wrong = []
    for kind in STRANGERS:
        client, headers = stranger(kind)
        asks = [("get", thread), ("post", thread), ("post", new), ("post", messages), ("post", write)]
        for method, at in asks:
            point = transaction.savepoint()
            said = {"text": "Mine.", "reason": "Mine."}
            form = {"content_type": "application/json"} if at == messages else {}
            status = getattr(client, method)(at, said, headers=headers, **form).status_code
            transaction.savepoint_rollback(point)
            open_to_desk = kind == "moderator" and at in (thread, write)
            signed_out = kind in ("guest", "erased") or kind.startswith("token")
            refused = status in REFUSED or (signed_out and status == 302)
            if refused == open_to_desk:
                wrong.append(f"{kind} {method} {at}: {status}")
    assert not wrong, "\n".join(wrong)
