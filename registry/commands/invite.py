"""`benchquorum invite ADDRESS`: invite somebody to moderate, the first one of a new registry above all.

The link goes out by mail and is printed; it works once, within seven days.
"""

from __future__ import annotations

import argparse

NEEDS_DATABASE = True


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("address", help="e-mail address of the account, or of the one to be made")
    parser.add_argument("--site", default="", help="public address, like https://registry.example")


def run(args: argparse.Namespace) -> int:
    from django.conf import settings
    from django.urls import reverse

    from registry.services.invitations import invitation_make

    site = args.site or next(iter(settings.CSRF_TRUSTED_ORIGINS), "http://localhost:8000")
    _invitation, address = invitation_make(
        by=None,
        email=args.address,
        link=lambda token: site.rstrip("/") + reverse("invitation", args=[token]),
    )
    print(address)
    return 0
