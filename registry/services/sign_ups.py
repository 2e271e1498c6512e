"""How many accounts, and jobs without one, a block of addresses may make a day.

A keyed digest of the block is kept, two days.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
from datetime import timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from registry.models import SignUpBlock


def block_of(address: str) -> str:
    """The /24 of an IPv4 address, the /48 of an IPv6 one: what one household, host or small provider holds.

    >>> block_of("192.0.2.77"), block_of("2001:db8:1:2::7")
    ('192.0.2.0/24', '2001:db8:1::/48')
    """
    ip = ipaddress.ip_address(address)
    if isinstance(ip, ipaddress.IPv6Address) and ip.ipv4_mapped is not None:
        ip = ip.ipv4_mapped
    return str(ipaddress.ip_network((ip, 24 if ip.version == 4 else 48), strict=False))


def sign_up_allowed(*, address: str) -> bool:
    """Count one more sign-up from this block; False where the day's number is used up."""
    return _counted(address, "", settings.BENCHQUORUM_SIGN_UPS)


def guest_job_allowed(*, address: str) -> bool:
    """The same for a job that only a link leads to."""
    return _counted(address, " job", settings.BENCHQUORUM_GUEST_JOBS)


@transaction.atomic
def _counted(address: str, what: str, limit: int) -> bool:
    if not limit:
        return True
    day = timezone.now().date()
    SignUpBlock.objects.filter(day__lt=day - timedelta(days=1)).delete()
    key = hmac.new(settings.SECRET_KEY.encode(), f"{block_of(address)} {day}{what}".encode(), hashlib.sha256)
    row, _made = SignUpBlock.objects.get_or_create(digest=key.hexdigest(), day=day)
    return SignUpBlock.objects.filter(pk=row.pk, count__lt=limit).update(count=F("count") + 1) == 1
