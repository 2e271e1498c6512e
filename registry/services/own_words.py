"""What an account wrote in its own words, and its pictures: they go with it.  What was measured stays."""

from __future__ import annotations

from functools import partial

from django.db import transaction

from registry.models import (
    Contributor,
    Dispute,
    DisputeMessage,
    FactAnswer,
    Notice,
    SheetPicture,
    SheetVersion,
    User,
)


def words_erase(user: User, contributor: Contributor) -> None:
    """Notes and reasons of sheets, disputes with their threads, appeals, notes on facts, sheets' pictures.

    None of it is in a chart's digest or in the log.  Reasons of decisions stay: they are the office's.
    """
    versions = SheetVersion.objects.filter(sheet__contributor=contributor)
    versions.exclude(note="", reason="").update(note="", reason="")
    contributor.sheets.exclude(withdrawn_reason="").update(withdrawn_reason="")
    FactAnswer.objects.filter(contributor=contributor).exclude(note="").update(note="")
    disputes = Dispute.objects.filter(opened_by=user)
    ids = [str(uuid) for uuid in disputes.values_list("uuid", flat=True)]
    for told in Notice.objects.filter(code=Notice.Code.SHEET_DISPUTED, params__dispute__in=ids):
        told.params["reason"] = "–"
        told.save(update_fields=["params"])
    disputes.update(reason="")
    DisputeMessage.objects.filter(written_by=user).update(text="")
    pictures = SheetPicture.objects.filter(sheet__contributor=contributor)
    for picture in pictures:
        transaction.on_commit(partial(picture.image.delete, save=False))
    pictures.delete()
