"""Bench sheets are sent, amended, withdrawn and brought back.  Nothing typed is ever overwritten."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.models import (
    Change,
    Contributor,
    PartNumber,
    Sheet,
    SheetVersion,
    Unit,
    User,
    part_key,
)
from registry.permissions import require
from registry.services.accounts import contributor_at_hand
from registry.services.allowance import allowance_require, restore_require
from registry.services.audit import record
from registry.services.changes import change_of_version
from registry.services.meters import meter_of
from registry.services.receipts import Receipt, receipt_of
from registry.services.refreshes import queue_refresh
from registry.services.sheet_body import SheetBody, read_body
from registry.services.sheet_versions import version_add, versions_first
from registry.services.texts import words_of
from registry.translation import gettext as _

Still = Callable[[Sheet], None]  # asked of the locked row: raises where it is not as its sender saw it


def sheet_submit(*, by: User, body: Any) -> Sheet:
    """Store a sheet and queue its design for a new chart; the same client id again gives the first answer.

    Raises RegistryErrors with every fault of the body; PermissionDenied.
    """
    return sheet_take(by=by, body=body).sheet


def sheet_take(*, by: User, body: Any) -> Receipt:
    """As `sheet_submit`, with what the receipt says."""
    require(by, "submit")
    sheet_body = read_body(body)
    refuse_unmeasured(sheet_body)
    contributor = contributor_at_hand(by)
    try:
        return _take(by, contributor, sheet_body)
    except (IntegrityError, RegistryErrors) as error:  # did the same sheet arrive twice at once?
        stored = _replayed(_own_alike(contributor, sheet_body), sheet_body)
        if stored is not None:
            return Receipt(stored, False)
        if isinstance(error, RegistryErrors):
            raise
    require(User.objects.filter(pk=by.pk).first(), "submit")  # or was the account erased at this moment?
    # Another sheet of this person made the same unit or meter: now it is there.
    return _take(by, contributor, sheet_body)


@transaction.atomic
def _take(by: User, contributor: Contributor, body: SheetBody) -> Receipt:
    alike = _own_alike(contributor, body)
    stored = _replayed(alike, body)
    if stored is not None:
        return Receipt(stored, False)
    allowance_require(contributor)
    if alike:
        raise RegistryErrors([sheet_name_used(name_of(body))])
    return receipt_of(_store(by, contributor, body), body)


def refuse_unmeasured(body: SheetBody) -> None:
    if not body.measured_it_myself:
        raise refusal(
            "not_measured",
            _("A sheet needs your word that you measured this unit yourself."),
            _("Say so on the sheet; published manuals and others' charts can't be entered."),
            field="/measured_it_myself",
        )


def name_of(body: SheetBody) -> str:
    return body.name or f"sheet-{body.client_id}"


Alike = tuple[int, uuid.UUID, str]  # id, client id, digest of its body


def _own_alike(contributor: Contributor, body: SheetBody) -> list[Alike]:
    """The contributor's sheets under the body's client id, or under its name."""
    named = Q(contributor=contributor, name=name_of(body))
    found = Sheet.objects.filter(Q(contributor=contributor, client_id=body.client_id) | named)
    return list(found.values_list("pk", "client_id", "body_digest"))


def _replayed(alike: list[Alike], body: SheetBody) -> Sheet | None:
    for pk, client_id, digest in alike:
        if client_id == body.client_id:
            if digest != body.digest:
                raise RegistryErrors([client_id_used()])
            return Sheet.objects.get(pk=pk)
    return None


def client_id_used() -> RegistryError:
    return RegistryError(
        "client_id_used",
        _("A sheet with this id was sent already, with other readings."),
        _("Amend that sheet, or send this one under an id of its own."),
        field="/client_id",
    )


def sheet_name_used(name: str) -> RegistryError:
    return RegistryError(
        "sheet_name_used",
        _("You have a sheet named “{name}” already.").format(name=name),
        _("Give this one another name, or amend that one."),
        field="/name",
    )


def _store(by: User, contributor: Contributor, body: SheetBody) -> SheetVersion:
    sheet = Sheet.objects.create(
        design=body.design,
        unit=unit_of(contributor, body),
        contributor=contributor,
        name=name_of(body),
        client_id=body.client_id,
        body_digest=body.digest,
        rereads=reread_of(contributor, body),
        licence=settings.BENCHQUORUM_DATA_LICENCE,
        measured_it_myself=True,
    )
    meter = meter_of(contributor, body.meter, body)
    version = versions_first(sheet=sheet, body=body, made_by=by, meter=meter)
    added = change_of_version(Change.Kind.SHEET_ADDED, version)
    record(by=by, action="sheet_submit", target_kind="sheet", target_uuid=sheet.uuid, feed=[added])
    queue_refresh(body.design)
    return version


def _names_of(sheet: Sheet) -> list[str]:
    unit = sheet.unit
    number = unit.part_number.number if unit.part_number else ""
    return [sheet.name, unit.key, unit.tag_code, unit.date_code, number]


@transaction.atomic
def sheet_amend(
    *, by: User, sheet: Sheet, on_version: int, body: Any, reason: str, still: Still | None = None
) -> SheetVersion:
    """A new version of a sheet; the old ones stay.  on_version: the version that was on the screen."""
    require(by, "amend", sheet)
    rows = Sheet.objects.select_for_update(of=("self",), no_key=True).select_related("design", "contributor")
    sheet = rows.get(pk=sheet.pk)
    if still is not None:
        still(sheet)
    current = sheet.versions.get(is_current=True)
    if current.number != on_version:
        raise refusal(
            "version_stale",
            _("This sheet was changed in the meantime: version {n} is newer than yours.").format(
                n=current.number
            ),
            _("Look at it and make your change again; nothing was overwritten."),
            field="/on_version",
        )
    sheet_body = read_body(body, design=sheet.design, stored=_names_of(sheet))
    reason = words_of(reason, "/reason")
    if not reason:
        raise refusal("value_missing", _("This is empty."), _("Say what was wrong."), field="/reason")
    allowance_require(sheet.contributor)
    seen = pattern_seen(sheet)
    version = version_add(
        sheet=sheet,
        body=sheet_body,
        made_by=by,
        meter=meter_of(sheet.contributor, sheet_body.meter, sheet_body) or current.meter,
        reason=reason[:300],
        earlier=current,
        pattern_shown=seen,
    )
    record(by=by, action="sheet_amend", target_kind="sheet", target_uuid=sheet.uuid, version=version.number)
    queue_refresh(sheet.design)
    return version


@transaction.atomic
def sheet_withdraw(*, by: User, sheet: Sheet, reason: str, still: Still | None = None) -> None:
    """Take a sheet out of the consensus; it stays readable to its contributor and can be brought back."""
    sheet = _own_locked(by, sheet, still)
    if sheet.withdrawn_at is None:
        sheet.withdrawn_at = timezone.now()
        sheet.withdrawn_reason = words_of(reason, "/reason")[:300]
        sheet.save(update_fields=["withdrawn_at", "withdrawn_reason"])
        record(by=by, action="sheet_withdraw", target_kind="sheet", target_uuid=sheet.uuid)
        queue_refresh(sheet.design)


@transaction.atomic
def sheet_restore(*, by: User, sheet: Sheet, still: Still | None = None) -> None:
    """Bring back a sheet that its contributor withdrew."""
    sheet = _own_locked(by, sheet, still)
    if sheet.withdrawn_at is not None:
        restore_require(sheet.contributor, sheet)
        sheet.withdrawn_at, sheet.withdrawn_reason = None, ""
        sheet.save(update_fields=["withdrawn_at", "withdrawn_reason"])
        record(by=by, action="sheet_restore", target_kind="sheet", target_uuid=sheet.uuid)
        queue_refresh(sheet.design)


def _own_locked(by: User, sheet: Sheet, still: Still | None) -> Sheet:
    require(by, "withdraw", sheet)
    sheet = Sheet.objects.select_for_update(no_key=True).get(pk=sheet.pk)
    if still is not None:
        still(sheet)
    return sheet


def pattern_seen(sheet: Sheet) -> bool:
    """Whether a pattern by others' units was there to be seen after the sheet had been sent."""
    return (
        SheetVersion.objects.filter(sheet__design=sheet.design, purpose=SheetVersion.Purpose.KNOWN_GOOD)
        .exclude(sheet__contributor=sheet.contributor)
        .exists()
    )


def unit_of(contributor: Contributor, body: SheetBody) -> Unit:
    """IntegrityError where another transaction makes the same unit at this moment."""
    own: dict[str, Any] = {"contributor": contributor, "design": body.design, "key": body.unit_key}
    unit = Unit.objects.filter(**own).first() or Unit(**own)
    before = _description(unit)
    unit_describe(unit, body, part_named)
    if unit.pk is None or _description(unit) != before:
        unit.save()
    return unit


def _description(unit: Unit) -> tuple[str, str, int | None]:
    return unit.tag_code, unit.date_code, unit.part_number_id


def unit_describe(unit: Unit, body: SheetBody, part: Callable[[str], PartNumber | None]) -> None:
    """What the sheet says of its unit; what it leaves out stays."""
    for name in ("tag_code", "date_code"):
        if getattr(body, name):
            setattr(unit, name, getattr(body, name))
    if body.part_number:
        unit.part_number = part(body.part_number)


def part_named(number: str) -> PartNumber | None:
    """The part number, however it is punctuated."""
    return PartNumber.objects.filter(key=part_key(number)).first()


def reread_of(contributor: Contributor, body: SheetBody) -> Sheet | None:
    if body.rereads is None:
        return None
    earlier = Sheet.objects.filter(contributor=contributor, uuid=body.rereads).first()
    if earlier is None:
        raise refusal(
            "sheet_unknown",
            _("You have no sheet with this id."),
            _("Give the id of the sheet that you were asked to read again."),
            field="/rereads",
        )
    return earlier
