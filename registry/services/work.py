"""Work after the answer: an import or a bulk call is kept, queued, done, and its outcome can be asked for."""

from __future__ import annotations

from datetime import timedelta
from functools import partial
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.models import User, Work
from registry.permissions import require
from registry.services.imports.files import file_import, import_asked
from registry.services.sheet_bulk import Taken, bodies_checked, sheets_submit, under
from registry.tasks import do_work
from registry.translation import gettext as _

MOST_WAITING = 20
WAIT = 60  # s, in which some piece of work is likely to end
KEPT_FOR = timedelta(days=30)  # what came of it
Plain = dict[str, Any]


@transaction.atomic
def work_ask(*, by: User, kind: str, asked: Any) -> Work:
    """Keep what is to be done and queue it.  RegistryErrors where it can be seen to be wrong at once."""
    require(by, "submit")
    if kind == Work.Kind.IMPORT:
        import_asked(asked)
    else:
        bodies_checked(asked.get("submissions") if isinstance(asked, dict) else None)
    Work.objects.filter(user=by, ended_at__lt=timezone.now() - KEPT_FOR).delete()
    waiting = Work.objects.filter(user=by, state__in=[Work.State.WAITING, Work.State.RUNNING])
    if waiting.count() >= MOST_WAITING:
        message = _("{n} pieces of work of yours are not done yet.").format(n=MOST_WAITING)
        advice = _("Wait for them.")
        raise refusal("allowance_used", message, advice, wait=WAIT)
    work = Work.objects.create(user=by, kind=kind, asked=asked)
    transaction.on_commit(partial(do_work.enqueue, str(work.uuid)))
    return work


def work_run(*, uuid: str) -> None:
    """Do it, once: what it stores and that it is done are one transaction, so a killed worker repeats it."""
    Work.objects.filter(uuid=uuid, state=Work.State.WAITING).update(
        state=Work.State.RUNNING, started_at=timezone.now()
    )
    work = Work.objects.select_related("user").filter(uuid=uuid, state=Work.State.RUNNING).first()
    if work is None:
        return
    try:
        with transaction.atomic():
            work = Work.objects.select_for_update().get(pk=work.pk)
            if work.state == Work.State.RUNNING:
                _end(work, Work.State.DONE, _answer(work))
    except RegistryErrors as errors:
        _end(work, Work.State.REFUSED, {"errors": [error.as_dict() for error in errors], "more": errors.more})
    except PermissionDenied as refusal:
        error = RegistryError("permission_denied", str(refusal))
        _end(work, Work.State.REFUSED, {"errors": [error.as_dict()], "more": 0})


def _answer(work: Work) -> Plain:
    if work.kind == Work.Kind.IMPORT:
        return file_import(by=work.user, asked=work.asked)
    asked = work.asked if isinstance(work.asked, dict) else {}
    taken = sheets_submit(by=work.user, bodies=asked.get("submissions"))
    return {
        "stored": sum(one.new for one in taken),
        "known": sum(one.sheet is not None and not one.new for one in taken),
        "refused": sum(one.sheet is None for one in taken),
        "results": [_item(n, one) for n, one in enumerate(taken)],
    }


def _item(n: int, taken: Taken) -> Plain:
    errors = [error.as_dict() for error in under(taken, f"/submissions/{n}").errors]
    return {"index": n, "submission": None if taken.sheet is None else str(taken.sheet), "errors": errors}


def _end(work: Work, state: str, answer: Plain) -> None:
    Work.objects.filter(pk=work.pk).update(state=state, answer=answer, asked=None, ended_at=timezone.now())
