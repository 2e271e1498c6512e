"""By what the guard against guessed passwords knows an account and where somebody tries it from.

The account by a digest, so its tables hold no address; the network address as every limit here finds it.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from typing import Any

from allauth.account.adapter import get_adapter
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

FIELDS = ("login", "email", "username")  # as the form, the accounts' package and the guard call it


def account_digest(address: str) -> str:
    """40 signs; the same for an address however it is capitalised."""
    return salted_hmac("registry.sign_in", address.strip().lower(), algorithm="sha256").hexdigest()[:40]


def account_tried(request: HttpRequest | None, credentials: Mapping[str, Any] | None = None) -> str:
    """The account that somebody tries to sign in to; "" where none is named, as with a passkey."""
    given = credentials or {}
    posted = {} if request is None else request.POST
    named = next((str(one[name]) for one in (given, posted) for name in FIELDS if one.get(name)), "")
    return account_digest(named) if named else ""


def caller_of(address: str) -> str:
    """As every limit counts a caller: of IPv6 the /64, of which whoever has one address has all.

    >>> caller_of("192.0.2.7"), caller_of("2001:db8:1:2::7"), caller_of("::ffff:192.0.2.7")
    ('192.0.2.7', '2001:db8:1:2::', '192.0.2.7')
    """
    if ":" not in address:
        return address
    try:
        ip = ipaddress.IPv6Address(address)
    except ValueError:  # what a proxy was told, and is no address
        return address
    return str(ip.ipv4_mapped or ipaddress.ip_network((ip, 64), strict=False).network_address)


def address_tried_from(request: HttpRequest) -> str | None:
    """The caller's, past the proxies that the registry knows of: the last one's would stand for everybody."""
    try:
        return caller_of(str(get_adapter().get_client_ip(request)))
    except PermissionDenied:  # a request that nobody sent over a network
        return None
