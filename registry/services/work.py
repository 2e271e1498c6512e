"""Work after the answer: an import or a bulk call is kept, queued, done, and its outcome can be asked for."""

from __future__ import annotations

import logging
from datetime import timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone
from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.models import User, Work
from registry.outages import is_outage
from registry.permissions import require
from registry.services.imports.files import file_import, import_asked
from registry.services.sheet_bulk import Taken, bodies_checked, sheets_submit, under
from registry.tasks import do_work
from registry.translation import gettext as _

log = logging.getLogger("registry.work")
MOST_WAITING = 20
TRIES = 3  # by which work that no worker ends is given up
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
    if settings.TASKS_QUEUE == "immediate":
        transaction.on_commit(partial(do_work.enqueue, str(work.uuid)))
    else:
        do_work.enqueue(str(work.uuid))  # a row of the same database: it comes and goes with the work
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
            work = Work.objects.select_for_update(no_key=True).get(pk=work.pk)
            if work.state == Work.State.RUNNING:
                _end(work, Work.State.DONE, _answer(work))
    except RegistryErrors as errors:
        _end(work, Work.State.REFUSED, {"errors": [error.as_dict() for error in errors], "more": errors.more})
    except PermissionDenied as refusal:
        _refuse(work, RegistryError("permission_denied", str(refusal)))
    except Exception as error:
        if is_outage(error):  # of the machine: it is tried again, see works_owed
            raise
        log.exception("work %s could not be done", work.uuid)
        _refuse(work, _failed())


def works_owed() -> int:
    """Queue the work whose task is in no queue any more; what ended its workers, or failed, too often is
    refused, or its sender would wait for ever.  How many there were.
    """
    tasks = DBTaskResult.objects.filter(task_path=do_work.module_path)
    queued = tasks.filter(status__in=[TaskResultStatus.READY, TaskResultStatus.RUNNING])
    waiting = {plain["args"][0] for plain in queued.values_list("args_kwargs", flat=True)}
    left = Work.objects.filter(state__in=[Work.State.WAITING, Work.State.RUNNING]).order_by("pk")
    owed = [work for work in left.defer("asked") if str(work.uuid) not in waiting]
    for work in owed:
        ended = tasks.filter(status=TaskResultStatus.FAILED, args_kwargs__args__0=str(work.uuid))
        if sum(len(workers) for workers in ended.values_list("worker_ids", flat=True)) >= TRIES:
            _refuse(work, _failed())
        else:
            do_work.enqueue(str(work.uuid))
    return len(owed)


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


def _failed() -> RegistryError:
    return RegistryError(
        "work_failed",
        _("This could not be done; nothing of it was stored."),
        _("Send it again in smaller parts; if that fails too, tell whoever runs this registry."),
    )


def _refuse(work: Work, error: RegistryError) -> None:
    _end(work, Work.State.REFUSED, {"errors": [error.as_dict()], "more": 0})


def _end(work: Work, state: str, answer: Plain) -> None:
    open_still = Work.objects.filter(pk=work.pk, ended_at=None)  # who ends it first has said what came of it
    open_still.update(state=state, answer=answer, asked=None, ended_at=timezone.now())
