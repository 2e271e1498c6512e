"""`benchquorum due`: what a clock owes: decisions whose time has come, reminders, mail, the nightly file.

Run it each hour.
"""

from __future__ import annotations

import argparse

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--quiet", action="store_true", help="say nothing")


def run(args: argparse.Namespace) -> int:
    from registry.services.due_decisions import apply_due
    from registry.services.fleet.digests import digests_mail
    from registry.services.invitations import invitations_forget
    from registry.services.life_laws import laws_refresh
    from registry.services.notices import notices_mail
    from registry.services.open_data import open_data_due
    from registry.services.rereads import remind_rereads
    from registry.services.webhook_queue import deliveries_owed
    from registry.tasks import write_open_data

    taken = apply_due()
    reminded = remind_rereads()
    laws_refresh()
    mailed = notices_mail() + digests_mail()
    invitations_forget()
    deliveries_owed()
    if open_data_due():
        write_open_data.enqueue()
    if not args.quiet:
        print(f"{taken} decisions took effect, {reminded} reminders, {mailed} mails.")
    return 0
