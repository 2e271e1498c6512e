"""Every service asks by itself who may: called past pages and API with somebody else's object, it refuses.

Found by walking the package: a service that nobody has named here fails the test.
"""

from __future__ import annotations

import importlib
import inspect
import io
import pkgutil
from collections.abc import Callable, Iterator
from copy import copy
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ObjectDoesNotExist, PermissionDenied
from django.db import transaction
from django.utils import timezone

import registry.services
from registry.errors import RegistryErrors
from registry.models import (
    AuditEntry,
    Decision,
    Design,
    Dispute,
    JobFact,
    Membership,
    Organisation,
    Sheet,
    SheetPicture,
    UnitEvent,
    User,
    Vehicle,
    Webhook,
    WebhookDelivery,
)
from registry.permissions import LinkHolder
from registry.services.accounts import contributor_of, workshop_join
from registry.services.lives.cohorts import fleet_say
from registry.services.lives.unit_events import unit_event_tell
from tests.api.made import made_user
from tests.registry.moderation.made import account
from tests.registry.test_foreign_objects import objects

pytestmark = pytest.mark.django_db
Kwargs = dict[str, Any]

# Called beneath a service that has asked; what they get is held already.
BENEATH = """audit.record effects.taken_back jobs.benching.sheet_store jobs.events.event_add
    jobs.events.job_locked fleet.vehicles.distance_keep fleet.fittings.fitting_begin
    fleet.fittings.fitting_end fleet.job_fittings.vehicle_fitted demo.jobs.demo_job imports.designs.carry_out
    imports.designs.plan_designs decision_ends.decision_end decision_waiting.set_waiting
    decision_waiting.wait_for_second decision_checks.check_no_party decision_checks.why_no_second
    recall.revision_fetched
    imports.files.columns_for""".split()  # noqa: SIM905
# About what the caller has, or makes, alone: no object of somebody else's goes in.
OWN: dict[str, Kwargs] = {
    "meters.meter_keep": {"body": {}},
    "accounts.workshop_join": {"name": "Quay Street Depot"},
    "accounts.preferences_keep": {"language": "de"},
    "jobs.starting.job_start": {"body": {}},
    "jobs.keeping.job_from_check": {"about": {}, "sheet": {}},
    "tokens.token_make": {"name": "x", "scopes": ["read"]},
    "tokens.token_revoke": {"key": "x"},
    "work.work_ask": {"kind": "bulk", "asked": {}},
    "imports.files.file_preview": {"asked": {}},
    "imports.files.file_import": {"asked": {}},
    "sheet_bulk.sheets_submit": {"bodies": []},
    "sheets.sheet_submit": {"body": {}},
    "sheets.sheet_take": {"body": {}},
    "invitations.invitation_take": {"token": "x"},
    "fleet.organisations.member_join": {"token": "x"},
    "fleet.organisations.organisation_make": {"body": {}},
    "lives.cohorts.fleet_say": {"units": 3},
    "webhooks.keeping.webhook_make": {"body": {}},
    "catalogue.design_propose": {"body": {}},
    "signed_in.session_end": {"number": 1},
    "signed_in.sessions_end_others": {"here": None},
}
# A suspended account may still: go, take its data along, hear less, appeal.
THOUGH_SUSPENDED = """accounts.account_erase own_evidence.account_data notices.mail_again
    notices.notices_read case_decide.claim_leave wanted.want_no_more wanted.unfollow
    disputes.dispute_open units.unit_same_take_back signed_in.sessions_end_unproven""".split()  # noqa: SIM905
# About a design that is there for everybody.
OPEN_DESIGN: dict[str, Kwargs] = {
    "bulk_entry.matrix_submit": {"data": b"", "body": {}},
    "wanted.follow": {},
    "facts.fact_answer": {"body": {}},
}
DESK: dict[str, Callable[[Kwargs], Kwargs]] = {
    "case_decide.case_decide": lambda own: {
        "kind": "sheet", "uuid": own["sheet"].uuid, "act": "keep", "reason": "x", "seen": None,
    },
    "case_decide.bulk_correct": lambda own: {"sheets": [own["sheet"].uuid], "reason": "x"},
    "case_decide.claim_take": lambda own: {"kind": "sheet", "uuid": own["sheet"].uuid},
    "cases.case_page": lambda own: {"kind": "sheet", "uuid": own["sheet"].uuid},
    "decisions.decide": lambda own: {
        "kind": "keep", "target_kind": "sheet", "target_uuid": own["sheet"].uuid, "reason": "x",
    },
    "decisions.approve": lambda own: {"decision": own["decision"]},
    "decisions.refuse_decision": lambda own: {"decision": own["decision"], "reason": "x"},
    "decisions.undo": lambda own: {"decision": own["decision"], "reason": "x"},
    "invitations.invitation_make": lambda own: {"email": "a@b.example", "link": str},
    "invitations.invitation_agree": lambda own: {"uuid": uuid4(), "link": str},
    "invitations.invitation_withdraw": lambda own: {"uuid": uuid4()},
    "lives.cohorts.fleet_confirm": lambda own: {"report": own["report"]},
    "lives.cohorts.fleet_end": lambda own: {"report": own["report"]},
    "habits.habits_of": lambda own: {"contributor": own["contributor"]},
    "habits.habits_of_all": lambda own: {},
    "refreshes.refresh_retry": lambda own: {"design": own["design"]},
}  # fmt: skip
JOB: dict[str, Kwargs] = {
    "jobs.sending.job_send": {"what": "outcome"},
    "jobs.sending.job_send_back": {"what": "outcome"},
    "jobs.benching.unit_bench": {"of": "old", "body": {}},
    "jobs.benching.job_recheck": {},
    "jobs.settling.job_settle_design": {"design": uuid4()},
    "jobs.pictures.job_picture_add": {"step": "prepared", "upload": io.BytesIO(b"")},
    "jobs.pictures.job_picture_remove": {"order": 1},
    "jobs.reporting.job_report_pdf": {},
    "jobs.links.link_make": {},
    "jobs.links.link_withdraw": {},
    "jobs.links.job_take_over": {},
    "jobs.steps.step_do": {"step": "prepared", "body": {}},
    "jobs.steps.step_skip": {"step": "prepared", "reason": "x"},
    "jobs.steps.job_close": {"body": {}},
    "jobs.steps.job_reopen": {},
    "jobs.verifying.job_verify": {"body": {}},
    "jobs.starting.job_about": {"body": {}},
}
FLEET: dict[str, Kwargs] = {
    "fleet.organisations.organisation_set": {"body": {}},
    "fleet.organisations.member_invite": {"role": "worker"},
    "fleet.organisations.member_set": {"role": ""},
    "fleet.organisations.organisation_leave": {},
    "fleet.organisations.feed_make": {},
    "fleet.organisations.feed_withdraw": {},
    "fleet.organisations.digest_want": {"wants": True},
    "fleet.table.vehicles_look": {"data": b"label\n8\n"},
    "fleet.table.vehicles_import": {"data": b"label\n8\n"},
    "fleet.vehicles.vehicle_add": {"body": {"label": "8"}},
}
VEHICLE: dict[str, Kwargs] = {
    "fleet.job_fittings.vehicle_job": {"symptom": "silent"},
    "fleet.vehicles.distance_add": {"body": {"km": 9}},
    "fleet.vehicles.distance_remove": {"reading": 1},
    "fleet.vehicles.vehicle_retire": {},
    "fleet.fittings.unit_fit": {"body": {"fitted_km": 1}},
    "fleet.fittings.unit_remove": {"body": {"removed_km": 9}},
}
OTHERS: dict[str, Callable[[Kwargs], Kwargs]] = {
    "sheets.sheet_amend": lambda own: {"sheet": own["sheet"], "on_version": 1, "body": {}, "reason": "x"},
    "sheets.sheet_withdraw": lambda own: {"sheet": own["sheet"], "reason": "x"},
    "sheets.sheet_restore": lambda own: {"sheet": own["sheet"]},
    "pictures.picture_add": lambda own: {"sheet": own["sheet"], "upload": io.BytesIO(b"")},
    "pictures.picture_remove": lambda own: {"picture": own["picture"]},
    "lives.unit_events.unit_event_tell": lambda own: {"unit": own["sheet"].unit, "body": {}},
    "lives.unit_events.unit_event_take_back": lambda own: {"event": own["event"]},
    "units.unit_same": lambda own: {"unit": own["sheet"].unit, "same_as": own["sheet"].unit},
    "decisions.agree": lambda own: {"decision": own["decision"]},
    "disputes.dispute_take_back": lambda own: {"dispute": own["dispute"]},
    "disputes.dispute_write": lambda own: {"dispute": own["appeal"], "text": "x"},
    "webhooks.keeping.webhook_secret": lambda own: {"webhook": own["webhook"]},
    "webhooks.keeping.webhook_end": lambda own: {"webhook": own["webhook"]},
    "webhooks.keeping.webhook_replay": lambda own: {"webhook": own["webhook"], "since": 0},
    "webhooks.keeping.delivery_replay": lambda own: {"delivery": own["delivery"]},
    **{name: (lambda own, more=more: {"job": own["job"], **more}) for name, more in JOB.items()},
    **{name: (lambda own, more=more: {"organisation": own["fleet"], **more}) for name, more in FLEET.items()},
    **{name: (lambda own, more=more: {"vehicle": own["vehicle"], **more}) for name, more in VEHICLE.items()},
}
# Of somebody else's things it finds none, and says so by what it gives back.
FINDS_NONE = {"facts.fact_take_back"}
BY_COMMAND = {
    "imports.tidy_file.import_plan",
    "imports.tidy_file.import_apply",
}  # a person's own file: `file_import`


def services() -> Iterator[tuple[str, Callable[..., Any]]]:
    package = registry.services
    for info in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        module = importlib.import_module(info.name)
        for name, found in inspect.getmembers(module, inspect.isfunction):
            told = inspect.unwrap(found)
            if told.__module__ == info.name and name[0] != "_" and "by" in inspect.signature(told).parameters:
                yield f"{info.name.removeprefix(package.__name__ + '.')}.{name}", found


SERVICES = dict(services())
NAMED = [
    OWN,
    OPEN_DESIGN,
    DESK,
    OTHERS,
    dict.fromkeys([*BENEATH, *THOUGH_SUSPENDED, *FINDS_NONE, *BY_COMMAND]),
]


def test_every_service_with_a_person_is_named_once() -> None:
    named = [name for table in NAMED for name in table]
    assert sorted(named) == sorted(SERVICES)


@pytest.fixture
def owner() -> User:
    return made_user("owner")


@pytest.fixture
def own(owner: User) -> Kwargs:
    """The objects themselves, as a page would have looked them up."""
    workshop_join(by=owner, name="Quay Street Depot")
    ids = objects(owner)
    fleet = Organisation.objects.get(uuid=ids["fleet"])
    sheet = Sheet.objects.select_related("unit", "contributor").get(uuid=ids["sheet"])
    contributor = contributor_of(owner)
    return {
        "sheet": sheet,
        "contributor": contributor,
        "design": Design.objects.get(),
        "decision": Decision.objects.get(uuid=ids["decision"]),
        "dispute": Dispute.objects.get(uuid=ids["dispute"]),
        "appeal": Dispute.objects.create(
            target_kind="account", target_uuid=contributor.uuid, opened_by=owner, reason="I read them"
        ),
        "picture": SheetPicture.objects.get(),
        "event": unit_event_tell(by=owner, unit=sheet.unit, body={"kind": "good", "distance_km": 5}),
        "report": fleet_say(by=owner, units=3),
        "webhook": Webhook.objects.get(),
        "delivery": WebhookDelivery.objects.get(),
        "job": contributor.jobs.get(),
        "fleet": fleet,
        "vehicle": Vehicle.objects.get(),
        "member": Membership.objects.get(organisation=fleet),
        "fact": JobFact.objects.get(),
    }


def suspended(name: str, *, moderator: bool = False) -> User:
    user = account(name, moderator=moderator)
    contributor_of(user)
    user.suspended_at = timezone.now()
    user.save()
    return user


def strangers() -> dict[str, Any]:
    colleague = account("colleague")
    workshop_join(by=colleague, name="Quay Street Depot")
    return {
        "other": account("other"),
        "colleague": colleague,
        "suspended": suspended("suspended"),
        "moderator": account("desk", moderator=True),
        "holder of another link": LinkHolder("0" * 64, account("holder")),
        "nobody": None,
    }


def refused(service: str, who: Any, /, **kwargs: Any) -> bool:
    """And nothing of it was written into the log."""
    before = AuditEntry.objects.count()
    try:
        with transaction.atomic():
            SERVICES[service](by=who, **kwargs)
    except (PermissionDenied, ObjectDoesNotExist):
        return AuditEntry.objects.count() == before
    except RegistryErrors:
        pass  # let in: its body was looked at
    return False


def test_nobody_else_does_anything_to_what_is_ones_own(own: Kwargs) -> None:
    people = strangers()
    wrong = []
    for name, kwargs in OTHERS.items():
        given = kwargs(own)
        if name == "fleet.organisations.member_set":
            given["member"] = own["member"]
        for kind, who in people.items():
            if kind == "moderator" and name == "disputes.dispute_write":
                continue  # an appeal is between its owner and the desk
            if not name.startswith("jobs.") and not isinstance(who, User):
                continue  # by accounts alone: nobody else is ever passed on
            if not refused(name, who, **given):
                wrong.append(f"{kind}: {name}")
    assert not wrong, "\n".join(wrong)


def test_its_owner_is_not_refused(owner: User, own: Kwargs) -> None:
    """Were the objects wrong, everybody would be, and the test above would say nothing."""
    elsewhere = {"jobs.links.job_take_over", "fleet.organisations.member_set", "disputes.dispute_write"}
    wrong = []
    for name, kwargs in OTHERS.items():
        if name in elsewhere:
            continue
        point = transaction.savepoint()
        try:
            SERVICES[name](by=owner, **{key: copy(given) for key, given in kwargs(own).items()})
        except PermissionDenied as refusal:
            wrong.append(f"{name}: {refusal}")
        except Exception:  # let in: what it makes of the empty body is another matter
            pass
        transaction.savepoint_rollback(point)
    assert not wrong, "\n".join(wrong)


def test_the_desk_is_the_moderators(own: Kwargs, settings: Any) -> None:
    """With their second factor, while they are one, and not suspended."""
    settings.BENCHQUORUM_MODERATOR_MFA = True
    people = {
        "owner": own["contributor"].user,
        "other": account("other"),
        "without second factor": account("half", moderator=True),
        "suspended moderator": suspended("gone", moderator=True),
    }
    mine = {
        ("owner", "habits.habits_of"),
        ("owner", "lives.cohorts.fleet_end"),
    }  # their own figures, their own word
    wrong = [
        f"{kind}: {name}"
        for name, kwargs in DESK.items()
        for kind, who in people.items()
        if (kind, name) not in mine and not refused(name, who, **kwargs(own))
    ]
    assert not wrong, "\n".join(wrong)


def test_who_is_suspended_sends_nothing(own: Kwargs) -> None:
    who = suspended("suspended")
    wrong = [name for name, more in OWN.items() if not refused(name, who, **more)]
    wrong += [
        name for name, more in OPEN_DESIGN.items() if not refused(name, who, design=own["design"], **more)
    ]
    assert not wrong, wrong
    assert refused(
        "disputes.dispute_open", who, target_kind="sheet", target_uuid=own["sheet"].uuid, reason="x"
    )
    assert refused(
        "disputes.dispute_open", who, target_kind="account", target_uuid=own["contributor"].uuid, reason="x"
    )


def test_of_anothers_things_there_is_nothing_to_take_back(own: Kwargs) -> None:
    who, unit = account("other"), own["sheet"].unit
    before = AuditEntry.objects.count()
    SERVICES["facts.fact_take_back"](by=who, fact=own["fact"])
    SERVICES["units.unit_same_take_back"](by=who, unit=unit, same_as=unit)
    assert own["fact"].answers.filter(is_current=True).count() == 1
    assert UnitEvent.objects.filter(withdrawn_at=None).count() == 1
    assert AuditEntry.objects.count() == before
