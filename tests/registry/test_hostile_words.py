"""Words that would be markup: what people write stays words, on every page that anybody can open."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.apps import apps
from django.db import models
from django.test import Client
from django.urls import reverse

from registry.models import Contributor, Design, Job, Notice, User, Vehicle, Webhook
from registry.services.accounts import workshop_join
from registry.services.charts import chart_refresh
from registry.services.disputes import dispute_open, dispute_write
from registry.services.facts import fact_answer
from registry.services.fleet.vehicles import vehicle_add
from registry.services.jobs.starting import job_start
from registry.services.jobs.steps import step_do
from registry.services.meters import meter_keep
from registry.services.sheets import sheet_amend
from registry.services.tokens import token_make
from registry.services.webhooks.keeping import webhook_make
from tests.api.made import sheet_body
from tests.registry.access_matrix import Address, World, addresses
from tests.registry.access_world import made_world

pytestmark = pytest.mark.django_db
MARK = "<q onx='\""
RAW = ("<q onx", "onx='\"")  # as markup; and out of an attribute
# Texts of people, by the name of their column; what a database keeps from change is written with them.
TEXTS = frozenset(
    """name key label line_name landmark description number vehicle vehicle_label family_label tag_code
    date_code withdrawn_reason text subject reason note import_name apart_shows""".split()  # noqa: SIM905
)
KEPT = ("registry_sheetversion", "registry_chartrevision")
DRAWN = ("text/html", "image/svg+xml", "application/xhtml+xml", "application/xml", "application/atom+xml")
ASKED = dict.fromkeys(
    ("q", "position", "pin", "against", "variant", "reason", "page", "design", "symptom"), MARK
)
ROLES = ("guest", "owner", "moderator")


def texts() -> Iterator[tuple[type[models.Model], Any]]:
    for model in apps.get_app_config("registry").get_models():
        if model._meta.db_table in KEPT:
            continue
        for field in model._meta.get_fields():
            plain = isinstance(field, models.CharField | models.TextField) and not field.choices
            if plain and field.name in TEXTS and field.editable:
                yield model, field


def hostile() -> World:
    """One of everything, its texts replaced."""
    world = made_world()
    owner, other = world.people["owner"], world.people["other"]
    assert isinstance(owner, User) and isinstance(other, User)
    workshop_join(by=owner, name="a workshop")
    meter_keep(by=owner, body={"name": "a meter"})
    token_make(by=owner, name="a token", scopes=["read"])
    webhook_make(by=owner, body={"url": "https://hooks.example.org/in"})
    about = {"note": MARK, "readings": sheet_body(world.design)["readings"]}
    sheet_amend(by=owner, sheet=world.sheet, on_version=1, reason=MARK, body=sheet_body(
        world.design, unit={"key": world.sheet.unit.key}, **about
    ))  # fmt: skip
    dispute = dispute_open(by=other, target_kind="sheet", target_uuid=world.sheet.uuid, reason=MARK)
    dispute_write(by=other, dispute=dispute, text=MARK)
    said = {"question": "minutes", "quantity": 40, "source": "did_it", "note": MARK}
    fact_answer(by=other, design=world.design, body=said)
    fleet = owner.memberships.get().organisation
    vehicle_add(by=owner, organisation=fleet, body={"label": "a van", "km": 3, "design": world.design.name})
    begun = {"symptom": "silent", "vehicle": MARK, "family": MARK, "note": MARK, "design": world.design.name}
    job = job_start(by=owner, body=begun).job
    step_do(by=owner, job=job, step="ruled_out", body={"checks": {"battery": 1}, "note": MARK})
    for model, field in texts():
        for pk in model._base_manager.values_list("pk", flat=True):
            value = f"{MARK}{pk}"[: field.max_length]
            model._base_manager.filter(pk=pk).update(**{field.name: value})
    for notice in Notice.objects.all():
        told = {name: MARK for name in ("reason", "design", "name") if name in notice.params}
        Notice.objects.filter(pk=notice.pk).update(params={**notice.params, **told})
    chart_refresh(design_id=world.design.pk)
    return world


def path(world: World, address: Address) -> str:
    """As the matrix of access has it; what is the owner's by an object of theirs."""
    own: dict[str, Any] = {
        "job": Job.objects.exclude(contributor=None).get().uuid,
        "fleet": Vehicle.objects.get().organisation.uuid,
        "vehicle": Vehicle.objects.get().uuid,
        "webhook": Webhook.objects.get().uuid,
    }
    for beginning, uuid in own.items():
        if address.name.startswith(beginning) and address.parameters[:1] == ("uuid",):
            words = {"step": "ruled_out", "what": "new_unit", "order": 1}
            more = {name: words[name] for name in address.parameters[1:]}
            return reverse(address.name, kwargs={"uuid": uuid, **more})
    return world.path(address)


def test_no_word_becomes_markup_on_any_page() -> None:
    world = hostile()
    assert Design.objects.get(pk=world.design.pk).name.startswith(MARK)
    assert Contributor.objects.filter(workshop__name__startswith=MARK).exists()
    wrong, told = [], set()
    for role in ROLES:
        client: Client = world.client(role)
        for address in addresses():
            if not address.name or address.name == "picture_file":  # pixels
                continue
            answer = client.get(path(world, address), ASKED)
            kind = answer.headers.get("Content-Type", "").partition(";")[0]
            if kind not in DRAWN or answer.streaming:
                continue
            assert answer.status_code != 500, (role, address.name)
            page = answer.content.decode()
            if "&lt;q onx" in page:
                told.add(address.name)
            wrong += [(role, address.name, raw) for raw in RAW if raw in page]
    assert not wrong, wrong
    assert len(told) > 20, sorted(told)
