"""`benchquorum due`: what a clock owes: decisions whose time has come, reminders, mail, what is to be
forgotten, the published chain, the nightly file.

Run it each hour.  A step that fails keeps none of the others back; the exit status is 1 then, and the log
says why.  It writes the files itself, and no worker does: workers may run on machines whose folders no server
serves from.
"""

from __future__ import annotations

import argparse
import logging
from collections.abc import Callable

from registry.commands.output import warn
from registry.translation import gettext as _

NEEDS_DATABASE = True
log = logging.getLogger("registry.due")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--quiet", action="store_true", help="say nothing")


def run(args: argparse.Namespace) -> int:
    from registry.services.clock_runs import ended_well

    came: dict[str, int] = {}
    failed = [name for name, step in _steps().items() if not _done(name, step, came)]
    if not args.quiet:
        mailed = came["notices"] + came["digests"]
        print(f"{came['decisions']} decisions took effect, {came['reminders']} reminders, {mailed} mails.")
    if failed:
        warn(_("failed, see the log: {steps}").format(steps=", ".join(failed)))
        return 1
    ended_well(command="due")
    return 0


def _steps() -> dict[str, Callable[[], int | None]]:
    from registry.services.due_decisions import apply_due
    from registry.services.fleet.digests import digests_mail
    from registry.services.invitations import invitations_forget
    from registry.services.lives.laws import laws_refresh
    from registry.services.mail import mail_owed
    from registry.services.notices import notices_mail
    from registry.services.rereads import remind_rereads
    from registry.services.traces import traces_age
    from registry.services.webhooks.queue import deliveries_owed
    from registry.services.work import works_owed

    return {
        "decisions": apply_due,
        "reminders": remind_rereads,
        "laws": laws_refresh,
        "notices": notices_mail,
        "digests": digests_mail,
        "mail": mail_owed,
        "invitations": invitations_forget,
        "traces": traces_age,
        "work": works_owed,
        "webhooks": deliveries_owed,
        "chain": _chain,
        "open data": _open_data,
    }


def _done(name: str, step: Callable[[], int | None], came: dict[str, int]) -> bool:
    """Whether the step went well; what came of it, all the same, is added to `came`."""
    from django.db import close_old_connections

    from registry.services.one_by_one import SomeFailed

    came[name] = 0
    try:
        came[name] = step() or 0
    except SomeFailed as some:  # each of them is in the log
        came[name] = some.done
        return False
    except Exception:
        log.exception("“%s” failed; the other steps go on", name)
        close_old_connections()  # one that broke would fail them too
        return False
    return True


def _chain() -> None:
    from registry.services.chain_file import chain_publish

    chain_publish()


def _open_data() -> None:
    from registry.services.packages.open_data import open_data_due, open_data_write

    if open_data_due():
        open_data_write()
