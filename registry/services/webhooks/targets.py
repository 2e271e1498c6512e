"""Where a webhook may go, and one POST to it: nowhere inside, no detours, and never for long.

The name is resolved once, every address that it has is checked, and the connection goes to one of these very
addresses: a name that points elsewhere a moment later gains nothing.  Redirects are answers, not orders.
"""

from __future__ import annotations

import contextlib
import http.client
import ipaddress
import socket
import ssl
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

from registry.errors import RegistryError
from registry.translation import gettext as _

LONGEST = 500  # signs of an address
WAIT, IN_ALL = 5.0, 15.0  # seconds for each step, and for everything
READ = 1024  # bytes of an answer that are looked at
Address = ipaddress.IPv4Address | ipaddress.IPv6Address
_IN_OTHER_CLOTHES = (
    ipaddress.ip_network("64:ff9b::/96"),  # RFC 6052
    ipaddress.ip_network("::/96"),  # IPv4-compatible, RFC 4291
)


class Unreachable(Exception):
    """No answer came; code: why."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


@dataclass(frozen=True)
class Target:
    """An address in parts, its port filled in."""

    scheme: str
    host: str
    port: int
    path: str


def target_of(url: str) -> Target:
    """The target of an address that may be used; RegistryError (field /url) says why another may not."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise _refused(_("This is not an address.")) from None
    if not _well_formed(url, parts):
        raise _refused(_("This is not an address."))
    if parts.scheme != "https" and not (settings.DEBUG and parts.scheme == "http"):
        raise _refused(_("A webhook goes to an address that begins with https."))
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise _refused(_("An address here has no name, password or fragment in it."))
    if port is not None and port != 443 and port < 1024 and not settings.DEBUG:
        raise _refused(_("Ports below 1024 are for other services; 443 is the one for https."))
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    host = str(parts.hostname)
    with contextlib.suppress(ValueError):
        _check(ipaddress.ip_address(host))  # a literal address is judged at once
    return Target(parts.scheme, host, port or (443 if parts.scheme == "https" else 80), path)


def _well_formed(url: str, parts: SplitResult) -> bool:
    plain = url.isascii() and url.isprintable() and " " not in url and len(url) <= LONGEST
    return plain and bool(parts.hostname) and parts.scheme in ("http", "https")


def _refused(message: str) -> RegistryError:
    advice = _("Give the public https address of your own program.")
    return RegistryError("webhook_address", message, advice, field="/url")


def may_go_to(address: Address) -> bool:
    """Whether an address is out in the world: not this machine, no private network, nothing reserved."""
    inner = _inner(address)
    if inner is not None:
        return may_go_to(inner)
    if settings.BENCHQUORUM_WEBHOOK_PRIVATE:
        return not (address.is_multicast or address.is_unspecified or address.is_link_local)
    if isinstance(address, ipaddress.IPv6Address) and address.is_site_local:
        return False
    return address.is_global and not address.is_multicast and not address.is_reserved


def _inner(address: Address) -> ipaddress.IPv4Address | None:
    """The IPv4 address that one of IPv6 stands for; what it is, the latter doesn't say of itself."""
    if isinstance(address, ipaddress.IPv4Address):
        return None
    inner = address.ipv4_mapped or address.sixtofour or (address.teredo[1] if address.teredo else None)
    if inner is None and any(address in network for network in _IN_OTHER_CLOTHES):
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return inner


def _check(address: Address) -> None:
    if not may_go_to(address):
        raise _inside()


def _inside() -> RegistryError:
    return _refused(_("This address is inside a private network or reserved."))


def check_leads_out(target: Target) -> None:
    """Judged when it is made, by what the resolver makes of it: `localhost`, `127.1`, one figure.

    A name that is not known yet may pass: every delivery asks again.
    """
    try:
        addresses_of(target)
    except Unreachable as error:
        if error.code == "address_refused":
            raise _inside() from None


def addresses_of(target: Target) -> list[str]:
    """What the name stands for now; Unreachable unless every one of them may be gone to."""
    try:
        found = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        raise Unreachable("name_unknown") from None
    addresses = list(dict.fromkeys(str(entry[4][0]).partition("%")[0] for entry in found))
    if not addresses or not all(may_go_to(ipaddress.ip_address(text)) for text in addresses):
        raise Unreachable("address_refused")
    return addresses


def post(target: Target, body: bytes, headers: Mapping[str, str]) -> int:
    """The status of the answer, whichever; Unreachable where none came."""
    address = addresses_of(target)[0]
    connection = _connection(target, address)
    late = threading.Timer(IN_ALL, _cut, [connection])
    late.daemon = True
    late.start()
    try:
        connection.request("POST", target.path, body=body, headers=dict(headers))
        answer = connection.getresponse()
        answer.read(READ)
        return answer.status
    except ssl.SSLError:
        raise Unreachable("certificate") from None
    except TimeoutError:
        raise Unreachable("timeout") from None
    except (OSError, http.client.HTTPException, AttributeError):
        raise Unreachable("no_answer") from None
    finally:
        late.cancel()
        connection.close()


class _Pinned(http.client.HTTPConnection):
    """To one checked address, under the name that was asked for.

    line: to the other side; kept, for of an answer that ends with the connection the library forgets it
    before it has read on.
    """

    line: socket.socket | None = None

    def __init__(self, target: Target, address: str) -> None:
        super().__init__(target.host, target.port, timeout=WAIT)
        self.target, self.address = target, address

    def connect(self) -> None:
        plain = socket.create_connection((self.address, self.target.port), timeout=WAIT)
        if self.target.scheme == "https":
            plain = ssl.create_default_context().wrap_socket(plain, server_hostname=self.target.host)
        self.line = self.sock = plain


def _connection(target: Target, address: str) -> _Pinned:
    connection = _Pinned(target, address)
    connection.default_port = 443 if target.scheme == "https" else 80
    return connection


def _cut(connection: _Pinned) -> None:
    """An answer that drips for ever ends here."""
    if connection.line is not None:
        with contextlib.suppress(OSError):
            connection.line.shutdown(socket.SHUT_RDWR)
