"""Who gets through to which address, for every address × method × role: own objects and other people's.

An address that nobody has named here fails the test: it is decided on before it is there.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.db import transaction

from tests.registry.access_matrix import LOGIN, METHODS, NO, ROLES, YES, Address, addresses, outcome
from tests.registry.access_world import made_world
from tests.registry.test_foreign_objects import PRIVATE

OPEN = frozenset(ROLES)
SIGNED_IN = OPEN - {"guest"}
WRITERS = SIGNED_IN - {"suspended"}  # who is suspended sees what is theirs, and sends nothing
OWNER = frozenset({"owner"})
MODERATORS = frozenset({"moderator"})
NOBODY: frozenset[str] = frozenset()

# by the address's name: who may read it, who may write to it
OPEN_PAGES = """front blank offline open_data open_data_zip open_data_chain kept offline_json manifest
    service_worker own_shared about cautions search design revision qr compare life life_csv
    check check_design identify before_pulling sheet wanted mail_stop health_live health_ready
    metrics matrix_blank import_template account_login mfa_login_webauthn
    account_logout account_signup account_inactive account_confirm_email
    account_email_verification_sent account_reset_password account_reset_password_done
    account_reset_password_from_key account_reset_password_from_key_done"""
JOB_PAGES = """job_link job job_step job_picture job_identify job_recheck job_reopen job_send
    job_link_change job_take_over job_report"""
API_JOBS = """api_jobs api_job api_job_steps api_job_outcome api_job_reopen api_job_recheck api_job_give
    api_job_report"""
OPEN_API = """api_changes api_atom api_schema api_docs api_charts api_chart api_difference api_line_code
    api_readings api_revisions api_revision api_revision_readings api_short_test api_check
    api_life api_design_part api_identify api_preview api_findings api_design api_decision
    api_dispute api_submission"""
OWN_PAGES = """own_design own_data api_account account account_erase tokens bench
    matrix my_sheets notices account_email
    account_change_password account_set_password account_reauthenticate
    account_confirm_login_code mfa_index mfa_authenticate mfa_reauthenticate mfa_list_webauthn
    mfa_add_webauthn mfa_edit_webauthn mfa_remove_webauthn mfa_reauthenticate_webauthn
    mfa_activate_totp usersessions_list mfa_generate_recovery_codes api_submissions api_bulk
    api_tokens api_token webhook api_imports api_import_preview api_works
    api_work api_webhooks api_webhook api_webhook_secret api_webhook_replay api_deliveries
    api_delivery_replay"""
SENT_FROM = """reporting meters propose follow_design dispute_new invitation webhooks import_file fleets
    fleet_join"""
OF_A_FACTOR = "mfa_deactivate_totp mfa_view_recovery_codes mfa_download_recovery_codes"
DESK = """desk desk_refresh case case_act case_claim desk_accounts desk_account
    desk_invitations desk_habits desk_catalogue desk_design desk_part desk_log desk_several decision_undo
    thread_write api_cases api_case api_approve api_refuse api_undo"""
WHO: dict[str, tuple[frozenset[str], frozenset[str]]] = {
    **dict.fromkeys(OPEN_PAGES.split(), (OPEN, OPEN)),
    **dict.fromkeys(OPEN_API.split(), (OPEN, OPEN)),
    **dict.fromkeys(OWN_PAGES.split(), (SIGNED_IN, SIGNED_IN)),
    **dict.fromkeys(DESK.split(), (MODERATORS, MODERATORS)),
    **dict.fromkeys(SENT_FROM.split(), (SIGNED_IN, WRITERS)),
    **dict.fromkeys(OF_A_FACTOR.split(), (MODERATORS, MODERATORS)),  # of this world only they have one
    **dict.fromkeys(["job_new", "preferences"], (OPEN, OPEN - {"suspended"})),
    "own": (WRITERS, WRITERS),
    "desk_reporting": (MODERATORS, NOBODY),  # an empty form names no report
    "api_nowhere": (NOBODY, NOBODY),
    "picture_file": (OWNER | MODERATORS, OWNER | MODERATORS),
    "decision_agree": (SIGNED_IN, OWNER),
    **dict.fromkeys(["sheet_amend", "sheet_withdraw", "sheet_restore"], (OWNER, OWNER)),
    **dict.fromkeys(
        ["api_withdraw", "api_restore", "api_take_back", "api_pictures", "api_picture"], (OWNER, OWNER)
    ),
    "api_unit_events": (NOBODY, OWNER),
    "unit": (SIGNED_IN, SIGNED_IN),  # another's is not found
    # Somebody else's job is not found, whoever asks: tests/registry/pages/jobs holds that.
    **dict.fromkeys(JOB_PAGES.split(), (OPEN, OPEN)),
    "my_jobs": (SIGNED_IN, SIGNED_IN),
    **dict.fromkeys(API_JOBS.split(), (SIGNED_IN, SIGNED_IN)),
    "sheet_picture": (NOBODY, OWNER),
    "dispute": (OPEN, WRITERS),
    "preparation": (OPEN, WRITERS),
    "api_facts": (OPEN, SIGNED_IN),
    "api_fact_answer": (NOBODY, SIGNED_IN),
    **dict.fromkeys(
        ["api_fleets", "api_fleet", "api_vehicles", "api_vehicle", "api_distances", "api_vehicle_units"],
        (SIGNED_IN, SIGNED_IN),
    ),
    "fleet_feed": (OPEN, OPEN),  # whoever has its link
    **dict.fromkeys(
        ["fleet", "fleet_csv", "fleet_care", "fleet_table", "vehicle"],
        (SIGNED_IN, SIGNED_IN),
    ),
    "vehicle_begin": (SIGNED_IN, SIGNED_IN),
    "api_designs": (OPEN, SIGNED_IN),
    "api_disputes": (OPEN, SIGNED_IN),
    "api_messages": (NOBODY, SIGNED_IN),
    "api_decisions": (OPEN, MODERATORS),
}
WRITES_OWN = {"api_submission": OWNER}  # open to read; amending is the owner's
LEADS_TO_SIGN_IN = ("mfa_login_webauthn", "account_confirm_email")  # whoever comes, or has confirmed
NEEDS_A_FILE = ("open_data_zip", "open_data_chain")  # `benchquorum due` writes it: packages/test_open_data.py


@pytest.fixture(autouse=True)
def as_in_use(settings: Any) -> None:
    """The desk asks for a second factor; a copy of one's own need not."""
    settings.BENCHQUORUM_MODERATOR_MFA = True


@pytest.mark.parametrize("address", addresses(), ids=lambda address: address.name or address.route)
def test_somebody_decided_who_may(address: Address) -> None:
    assert address.name in WHO, f"{address.route}: name it in WHO"


def test_nothing_is_named_that_is_not_there() -> None:
    assert set(WHO) <= {address.name for address in addresses()}


def expected(name: str, method: str) -> frozenset[str]:
    read, write = WHO[name]
    if name.startswith("api_"):  # by program nothing is open to who is suspended but what is to anybody
        read, write = (who if who == OPEN else who - {"suspended"} for who in (read, write))
    if method == "get" or (method != "post" and not name.startswith("api_")):
        return read  # a page takes every method but POST for a GET
    return WRITES_OWN.get(name, write)


@pytest.mark.django_db
def test_every_role_gets_where_it_may_and_nowhere_else() -> None:
    world = made_world()
    clients = {role: world.client(role) for role in ROLES}
    wrong, asked, closed = [], 0, 0
    for address in addresses():
        if address.name not in WHO or address.name in NEEDS_A_FILE:
            continue
        path = world.path(address)
        for method in _methods(address):
            for role in ROLES:
                got, status = _ask(clients[role], method, path, address)
                if status == 405 and role == "guest":
                    break  # this method isn't offered to anybody
                if status == 405 or (status == 404 and "<" in address.route and not _is_there(address)):
                    continue
                asked += 1
                may = role in expected(address.name, method)
                closed += not may
                if got == LOGIN and address.name in LEADS_TO_SIGN_IN:
                    continue
                if (got == YES) != may or status >= 500:
                    wrong.append(f"{role} {method} {address.name}: {got} ({status})")
                if not may and address.route.startswith("api/") and got != NO:
                    wrong.append(f"{role} {method} {address.name}: {got}, where a program wants 401 or 403")
    assert not wrong, "\n".join(wrong)
    assert asked > 400 and closed > 100, (asked, closed)


def _methods(address: Address) -> tuple[str, ...]:
    """A page takes every method but POST for a GET: one of them tells for all."""
    return METHODS if address.route.startswith("api/") else ("get", "post", "delete")


def _is_there(address: Address) -> bool:
    """Whether the made-up world holds what the address is about; the rest: `test_foreign_objects`."""
    return address.name not in PRIVATE


def _ask(client: Any, method: str, path: str, address: Address) -> tuple[str, int]:
    """Ask, and take back whatever came of it."""
    point = transaction.savepoint()
    session = client.cookies.copy()
    if address.route.startswith("api/") and method != "get":
        # whoever changes a sheet names what they saw
        seen = client.get(path).headers.get("ETag", "") if address.name == "api_submission" else '"1"'
        answer = getattr(client, method)(
            path, {"reason": "a test"}, content_type="application/json", headers={"If-Match": seen}
        )
    elif method == "post":
        answer = client.post(path, {"csrfmiddlewaretoken": "as every form has it"})
    else:
        answer = getattr(client, method)(path)
    if answer.streaming:
        b"".join(answer)  # a file is closed when it has been read
    transaction.savepoint_rollback(point)
    client.cookies = session  # a sign-out, too
    return outcome(answer), answer.status_code


@pytest.mark.django_db
@pytest.mark.parametrize("role", ROLES)
def test_only_its_contributor_adds_a_picture(role: str) -> None:
    import io

    from django.core.files.uploadedfile import SimpleUploadedFile
    from PIL import Image

    world = made_world()
    file = io.BytesIO()
    Image.new("RGB", (50, 30)).save(file, "JPEG")
    picture = SimpleUploadedFile("plug.jpg", file.getvalue(), "image/jpeg")
    world.client(role).post(f"/sheets/{world.sheet.uuid}/pictures/", {"pictures": picture})
    assert world.sheet.pictures.count() == 1 + (role == "owner")


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["owner", "other", "moderator"])
def test_own_sheets_are_listed_to_their_contributor_only(role: str) -> None:
    world = made_world()
    client = world.client(role)
    assert (str(world.sheet.uuid) in client.get("/api/v1/submissions/").content.decode()) == (role == "owner")
    assert (str(world.sheet.uuid) in client.get("/sheets/").content.decode()) == (role == "owner")
