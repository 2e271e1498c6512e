"""More of who may where: accounts that were something else, tokens by their rights, links, roles in a fleet.

Each of them gets exactly where its like gets, which `test_access` holds for every address and method.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from registry.models import ApiToken, Job, User
from registry.permissions import LinkHolder
from registry.services.accounts import account_erase
from registry.services.fleet.organisations import member_invite, member_join, member_set, organisation_make
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.links import job_take_over, link_make, link_withdraw
from registry.services.jobs.starting import job_start
from tests.api.made import made_token, made_user, said_again
from tests.registry.access_matrix import NO, YES, World, addresses, outcome
from tests.registry.access_world import made_world
from tests.registry.moderation.made import account
from tests.registry.test_access import DESK, NEEDS_A_FILE, OF_A_FACTOR, _ask, _methods, expected

pytestmark = pytest.mark.django_db
# Whether an account has a factor of its own, or was told of the address, is not what is asked here.
ASIDE = {*OF_A_FACTOR.split(), *NEEDS_A_FILE, "account_confirm_email"}
SCOPES = ("read", "submit", "moderate")


@pytest.fixture(autouse=True)
def as_in_use(settings: Any) -> None:
    settings.BENCHQUORUM_MODERATOR_MFA = True


@pytest.fixture
def world() -> World:
    return made_world()


def signed_in(user: User) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(user)
    said_again(client)
    return client


def with_factor(name: str) -> User:
    user = account(name, moderator=True)
    Authenticator.objects.create(user=user, type=Authenticator.Type.TOTP, data={})
    return user


def erased() -> Client:
    user = account("erased")
    client = signed_in(user)
    session = client.cookies.copy()
    account_erase(by=user)
    client.cookies = session  # the browser still sends it
    return client


def switched_off() -> Client:
    client = signed_in(account("off"))
    User.objects.filter(email__startswith="off@").update(is_active=False)
    return client


def of_the_staff() -> Client:
    """A word of the framework's that means nothing here."""
    return signed_in(User.objects.create_superuser("root@workshop.example", "a long pass phrase"))


def relieved() -> Client:
    user = with_factor("relieved")
    client = signed_in(user)
    user.groups.clear()
    return client


def suspended_moderator() -> Client:
    client = signed_in(with_factor("silenced"))
    User.objects.filter(email__startswith="silenced@").update(suspended_at=timezone.now())
    return client


# who, and whose like
ALIKE: dict[str, tuple[Callable[[], Client], str]] = {
    "new": (lambda: signed_in(made_user("new")), "other"),
    "erased": (erased, "guest"),
    "switched off": (switched_off, "guest"),
    "staff": (of_the_staff, "other"),
    "relieved moderator": (relieved, "other"),
    "suspended moderator": (suspended_moderator, "suspended"),
}


@pytest.mark.parametrize("who", ALIKE)
def test_each_gets_where_its_like_gets_and_nowhere_else(who: str, world: World) -> None:
    make, like = ALIKE[who]
    client, other = make(), world.client(like)
    wrong, asked = [], 0
    for address in addresses():
        if address.name in ASIDE:
            continue
        path = world.path(address)
        for method in _methods(address):
            (got, status), (wanted, _status) = (_ask(one, method, path, address) for one in (client, other))
            asked += 1
            if got != wanted or status >= 500:
                wrong.append(f"{method} {address.name}: {got} ({status}), {like}: {wanted}")
    assert not wrong, "\n".join(wrong)
    assert asked > 500


def test_a_head_is_let_in_where_a_get_is(world: World) -> None:
    wrong = []
    for role in world.people:
        client = world.client(role)
        for address in addresses():
            if address.name in NEEDS_A_FILE or address.name.startswith("account_logout"):
                continue
            path = world.path(address)
            cache.clear()  # a limit on requests is none of who may
            got = _ask(client, "get", path, address)
            point = transaction.savepoint()
            answer = client.head(path)
            body = b"".join(answer)  # a file is closed when it has been read
            transaction.savepoint_rollback(point)
            if outcome(answer) != got[0] or answer.status_code >= 500 or body:
                wrong.append(f"{role} {address.name}: {answer.status_code}, get {got}")
    assert not wrong, "\n".join(wrong)


def scope_needed(name: str, method: str) -> str | None:
    """The right that an operation asks of a token; None: no token does this."""
    if name in ("api_tokens", "api_token"):
        return None
    if name in DESK.split() or (name == "api_decisions" and method == "post"):
        return "moderate"
    return "read" if method == "get" else "submit"


def bearer(token: str) -> Client:
    return Client(raise_request_exception=False, headers={"Authorization": token})


@pytest.mark.parametrize("scope", SCOPES)
def test_a_token_does_what_its_right_says_and_nothing_more(scope: str, world: World) -> None:
    moderator = world.people["moderator"]
    assert moderator is not None
    client, wrong, closed = bearer(made_token(moderator, scope)), [], 0
    for address in addresses():
        if not address.route.startswith("api/"):
            continue
        for method in _methods(address):
            may = expected(address.name, method)
            if "moderator" not in may:
                continue  # its owner's: test_foreign_objects
            got, status = _ask(client, method, world.path(address), address)
            if status in (404, 405):
                continue
            let_in = "guest" in may or scope_needed(address.name, method) == scope
            closed += not let_in
            if (got == YES) != let_in or status >= 500:
                wrong.append(f"{method} {address.name}: {got} ({status})")
    assert not wrong, "\n".join(wrong)
    assert closed > 20


def gone(token: str) -> None:
    ApiToken.objects.all().delete()


def ran_out(token: str) -> None:
    ApiToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))


def owner_switched_off(token: str) -> None:
    User.objects.filter(email__startswith="owner@").update(is_active=False)


@pytest.mark.parametrize("end", [gone, ran_out, owner_switched_off])
def test_a_token_that_ended_opens_nothing_not_even_what_is_open(
    end: Callable[[str], None], world: World
) -> None:
    owner = world.people["owner"]
    assert owner is not None
    token = made_token(owner, "read", "submit")
    end(token)
    client, wrong = bearer(token), []
    for address in addresses():
        if not address.route.startswith("api/") or address.name in ("api_schema", "api_docs", "api_nowhere"):
            continue
        for method in _methods(address):
            got, status = _ask(client, method, world.path(address), address)
            if status not in (401, 405):
                wrong.append(f"{method} {address.name}: {got} ({status})")
    assert not wrong, "\n".join(wrong)


def test_a_token_opens_no_page(world: World) -> None:
    moderator = world.people["moderator"]
    assert moderator is not None
    client, guest, wrong = bearer(made_token(moderator, *SCOPES)), world.client("guest"), []
    for address in addresses():
        if address.route.startswith("api/") or address.name in NEEDS_A_FILE:
            continue
        for method in _methods(address):
            got, wanted = (_ask(one, method, world.path(address), address) for one in (client, guest))
            if got[0] != wanted[0]:
                wrong.append(f"{method} {address.name}: {got}, guest: {wanted}")
    assert not wrong, "\n".join(wrong)


def opened(token: str, user: User | None = None) -> Client:
    client = Client(raise_request_exception=False) if user is None else signed_in(user)
    assert client.get(reverse("job_link", args=[token])).status_code == 302
    return client


def job_addresses(job: Job) -> list[tuple[str, str, str]]:
    """Name, method and path of all that is about one job."""
    words = {"order": 1, "what": "new_unit", "step": "prepared"}
    found = []
    for address in addresses():
        if address.route.startswith("jobs/<uuid:uuid>"):
            more = {name: words[name] for name in address.parameters if name != "uuid"}
            path = reverse(address.name, kwargs={"uuid": job.uuid, **more})
            found += [(address.name, method, path) for method in ("get", "post", "delete")]
    return found


def test_a_jobs_link_opens_this_job_while_it_lasts_and_no_other() -> None:
    """The holder of another link, of one that was withdrawn or replaced since, and a guest find nothing."""
    made, elsewhere = (
        job_start(by=None, body={"symptom": "silent"}),
        job_start(by=None, body={"symptom": "silent"}),
    )
    ended, replaced = (job_start(by=None, body={"symptom": "silent"}) for _ in range(2))
    holders = {"another's": opened(elsewhere.token), "guest": Client(raise_request_exception=False)}
    ends = {"withdrawn": opened(ended.token), "replaced": opened(replaced.token)}
    link_withdraw(by=ended.holder, job=ended.job)
    link_make(by=replaced.holder, job=replaced.job)
    right = opened(made.token)
    asked = [(kind, client, made.job) for kind, client in holders.items()]
    asked += [("withdrawn", ends["withdrawn"], ended.job), ("replaced", ends["replaced"], replaced.job)]
    wrong = []
    for kind, client, job in asked:
        for name, method, path in job_addresses(job):
            point = transaction.savepoint()
            status = getattr(client, method)(path).status_code
            transaction.savepoint_rollback(point)
            if status not in (404, 405):
                wrong.append(f"{kind} {method} {name}: {status}")
    reached = set()
    for name, method, path in job_addresses(made.job):
        point = transaction.savepoint()
        status = getattr(right, method)(path).status_code
        transaction.savepoint_rollback(point)
        if status not in (404, 405):
            reached.add(name)
    assert not wrong, "\n".join(wrong)
    beyond = {"job_picture", "job_take_over"}  # it has no picture; a guest has no account to take it into
    assert {name for name, _method, _path in job_addresses(made.job)} - reached <= beyond


def test_the_link_of_a_job_that_was_taken_over_gives_nothing_to_the_registry() -> None:
    owner, holder = made_user("owner"), made_user("holder")
    made = job_start(by=None, body={"symptom": "silent"})
    client = opened(made.token, holder)
    digest = made.job.link_digest
    assert digest is not None
    job_take_over(by=LinkHolder(digest, owner), job=made.job)
    assert client.get(reverse("job", args=[made.job.uuid])).status_code == 200
    before = made.job.events.count()
    for what in ("new_unit", "old_unit", "outcome"):
        client.post(reverse("job_send", args=[made.job.uuid, what]))
    assert client.post(reverse("job_take_over", args=[made.job.uuid])).status_code in (403, 404)
    assert made.job.events.count() == before
    made.job.refresh_from_db()
    assert made.job.contributor == owner.contributor


READS = {"fleet": "get", "fleet_csv": "get", "fleet_care": "get", "fleet_table": "get", "vehicle": "get"}
WRITES: list[tuple[str, str, dict[str, Any]]] = [  # by worker and owner
    ("fleet", "post", {"label": "8"}),
    ("fleet_table", "post", {"kept": b64encode(b"label\n9\n").decode(), "act": "store"}),
    ("vehicle", "post", {"act": "distance", "km": "9", "read_on": "2026-11-01"}),
    ("vehicle_begin", "post", {"symptom": "silent"}),
    ("api_vehicles", "post", {"label": "8"}),
    ("api_distances", "post", {"km": 9}),
    ("api_vehicle_units", "post", {"act": "fit", "fitted_km": 1}),
]
RULES: list[tuple[str, str, dict[str, Any]]] = [  # by owners
    ("fleet_care", "post", {"act": "policy", "name": "x"}),
    ("fleet_care", "post", {"act": "invite", "role": "owner"}),
    ("fleet_care", "post", {"act": "feed"}),
    ("fleet_care", "post", {"act": "no_feed"}),
    ("api_fleet", "patch", {"name": "x"}),
]
API_READS = {"api_fleet", "api_vehicles", "api_vehicle"}


@pytest.mark.parametrize("role", ["owner", "worker", "reader", "former", "foreign", "suspended"])
def test_a_fleet_is_read_worked_on_and_ruled_by_role(role: str) -> None:
    owner, user = made_user("owner"), made_user("member")
    fleet = organisation_make(by=owner, body={"name": "Marsh Quay"})
    vehicle = vehicle_add(by=owner, organisation=fleet, body={"label": "7", "km": 3})
    other = organisation_make(by=made_user("elsewhere"), body={"name": "Elsewhere"})
    joins = role if role in ("owner", "worker", "reader") else "owner"
    if role != "foreign":
        member_join(by=user, token=member_invite(by=owner, organisation=fleet, role=joins))
    if role == "former":
        member_set(by=owner, organisation=fleet, member=fleet.memberships.get(user=user), role="")
    if role == "suspended":
        User.objects.filter(pk=user.pk).update(suspended_at=timezone.now())
    client, wrong = signed_in(user), []
    reads = role in ("owner", "worker", "reader")
    works, rules = role in ("owner", "worker"), role == "owner"
    asks = [(name, "get", {}, reads) for name in (*READS, *API_READS)]
    asks += [(*ask, works) for ask in WRITES] + [(*ask, rules) for ask in RULES]
    for name, method, body, may in asks:
        of_vehicle = ("vehicle" in name and name != "api_vehicles") or name == "api_distances"
        key = next(a.parameters[0] for a in addresses() if a.name == name)
        path = reverse(name, kwargs={key: vehicle.uuid if of_vehicle else fleet.uuid})
        more = {"content_type": "application/json"} if name.startswith("api_") and method != "get" else {}
        point = transaction.savepoint()
        answer = getattr(client, method)(path, body, **more)
        transaction.savepoint_rollback(point)
        if (outcome(answer) == YES) != may or answer.status_code >= 500:
            wrong.append(f"{method} {name} {body}: {answer.status_code}, may: {may}")
    assert not wrong, "\n".join(wrong)
    assert outcome(client.get(reverse("fleet", args=[other.uuid]))) == NO
