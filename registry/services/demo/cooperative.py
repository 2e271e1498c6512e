"""The demo: an invented co-operative's people, catalogue and readings.  Its charts are computed."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from allauth.account.models import EmailAddress
from django.conf import settings
from django.contrib.auth.models import Group
from django.db import transaction

from registry.errors import RegistryError
from registry.formats.labels import loose_key
from registry.formats.tidy_reader import read_tidy
from registry.models import (
    Contributor,
    Design,
    FactAnswer,
    JobFact,
    PartNumber,
    Supersession,
    User,
    Workshop,
    part_key,
)
from registry.permissions import MODERATORS
from registry.services.catalogue import design_propose
from registry.services.demo.fleet import demo_fleet
from registry.services.demo.jobs import demo_job
from registry.services.demo.lives import demo_lives
from registry.services.imports.tidy_file import ImportPlan, import_apply
from registry.translation import gettext as _

Plain = dict[str, Any]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class SignIn:
    """Known to everybody who has the source: good for a demo, for nothing else."""

    role: str
    email: str
    password: str


@dataclass(frozen=True)
class DemoLoaded:
    co_operative: str
    sign_ins: tuple[SignIn, ...]
    plan: ImportPlan  # what came in; nothing where the demo was loaded before


def demo_load(folder: Path, *, progress: Progress | None = None) -> DemoLoaded:
    """Load the demo's files; a second time adds nothing.  Refused where BENCHQUORUM_DEBUG is off."""
    if not settings.DEBUG:
        raise RegistryError(
            "demo_refused",
            _("The demo makes accounts whose passwords everybody can read, so it runs in a demo only."),
            _("Set BENCHQUORUM_DEBUG=1 on a machine of your own, or run “make demo”."),
        )
    people = json.loads((folder / "people.json").read_text(encoding="utf-8"))
    catalogue = json.loads((folder / "catalogue.json").read_text(encoding="utf-8"))
    table = read_tidy(folder / "readings.csv")
    with transaction.atomic():
        _workshops(people["workshops"])
        sign_ins = tuple(_account(account, people["password"]) for account in people["accounts"])
        by = User.objects.get(email=sign_ins[0].email)
        for body in catalogue["designs"]:
            _design(body, by, confirmed=body["name"] not in catalogue["proposed"])
        _links(catalogue)
        demo_lives(folder / "units.csv")
        _facts(json.loads((folder / "facts.json").read_text(encoding="utf-8")))
        accounts = {one.role: User.objects.get(email=one.email) for one in sign_ins}
        demo_fleet(json.loads((folder / "fleet.json").read_text(encoding="utf-8")), accounts)
        demo_job(json.loads((folder / "job.json").read_text(encoding="utf-8")), accounts["contributor"])
    return DemoLoaded(people["co_operative"], sign_ins, import_apply(table, progress=progress))


def _workshops(workshops: dict[str, list[str]]) -> None:
    for name, contributors in workshops.items():
        workshop, _made = Workshop.objects.get_or_create(name=name)
        for contributor in contributors:
            Contributor.objects.get_or_create(import_name=contributor, defaults={"workshop": workshop})


def _account(account: Plain, password: str) -> SignIn:
    """An account that owns the sheets imported under its contributor's name."""
    user = User.objects.filter(email=account["email"]).first()
    if user is None:
        user = User.objects.create_user(account["email"], password)
        EmailAddress.objects.create(user=user, email=user.email, verified=True, primary=True)
        Contributor.objects.filter(import_name=account["contributor"]).update(user=user)
    if account["role"] == "moderator":
        user.groups.add(Group.objects.get_or_create(name=MODERATORS)[0])
    return SignIn(account["role"], account["email"], password)


def _design(body: Plain, by: User, *, confirmed: bool) -> None:
    if Design.objects.filter(name=body["name"]).exists():
        return
    design = design_propose(by=by, body=body)
    if confirmed:
        Design.objects.filter(pk=design.pk).update(state=Design.State.CONFIRMED)


def _links(catalogue: Plain) -> None:
    """Source classes of part numbers, which number took over from which, which design replaces which."""
    for number, source_class in catalogue["source_classes"].items():
        PartNumber.objects.filter(key=part_key(number)).update(source_class=source_class)
    for link in catalogue["supersessions"]:
        older, newer = (PartNumber.objects.get(key=part_key(link[end])) for end in ("older", "newer"))
        Supersession.objects.get_or_create(
            older=older, newer=newer, defaults={"same_pattern": link["same_pattern"]}
        )
    for link in catalogue["replaces"]:
        Design.objects.get(name=link["design"]).replaces.add(Design.objects.get(name=link["replaces"]))


def _facts(facts: list[Plain]) -> None:
    """What the co-operative's people said about the job, each one's last word."""
    for told in facts:
        fact, _made = JobFact.objects.get_or_create(
            design=Design.objects.get(name=told["design"]),
            question=told["question"],
            subject_key=loose_key(told["subject"]),
            defaults={"subject": told["subject"]},
        )
        for answer in told["answers"]:
            person = Contributor.objects.get(import_name=answer["contributor"])
            given = {name: answer[name] for name in ("answer", "quantity", "source") if name in answer}
            FactAnswer.objects.get_or_create(fact=fact, contributor=person, is_current=True, defaults=given)
