"""Fetching from another registry: bounded in time and size, patient with a busy one, never led elsewhere.

The address is given by whoever runs this registry.  A redirect is followed only to the same host, so that the
other side can't turn a request of ours against somebody else.
"""

from __future__ import annotations

import gzip
import http.client
import io
import time
import urllib.error
import urllib.request
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urljoin, urlsplit

from registry.errors import RegistryError
from registry.services.webhooks.targets import Target, Unreachable, addresses_of
from registry.translation import gettext as _

TIMEOUT = 30.0  # s
MOST_BYTES = 200_000_000
TRIES = 5
BUSY = (429, 502, 503, 504)
LONGEST_WAIT = 60.0  # s
SILENT = "registry_silent"  # code of the error where the other side is not to be understood


@dataclass(frozen=True)
class Fetched:
    status: int
    etag: str
    content: bytes


class SameHost(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, req: Any, fp: Any, code: int, msg: str, headers: Any, newurl: str) -> Any:
        if urlsplit(newurl)[:2] != urlsplit(req.full_url)[:2]:
            raise urllib.error.HTTPError(req.full_url, code, "redirect to another host", headers, fp)
        return super().redirect_request(req, fp, code, msg, headers, newurl)


class Fetcher:
    """GET requests to one registry.  private: it may be in one's own network: the operator says so."""

    def __init__(
        self, base: str, *, private: bool = False, sleep: Callable[[float], None] = time.sleep
    ) -> None:
        parts = urlsplit(base)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.username or parts.query:
            raise RegistryError(
                "url_invalid",
                _("“{url}” is not the address of a registry.").format(url=base),
                _("Write it like https://registry.example/."),
            )
        self.base = base.rstrip("/") + "/"
        self._sleep, self._private = sleep, private
        self._opener = urllib.request.build_opener(SameHost(), urllib.request.ProxyHandler())

    def get(self, path: str, *, etag: str = "") -> Fetched:
        """Raises RegistryError where it doesn't answer, even after waiting."""
        url = urljoin(self.base, path)
        if urlsplit(url)[:2] != urlsplit(self.base)[:2]:
            raise self.silent(_("it names an address elsewhere"))
        self._check_address()
        headers = {"Accept": "application/json", "Accept-Encoding": "gzip", "User-Agent": "benchquorum-pull"}
        if etag:
            headers["If-None-Match"] = etag
        why = ""
        for attempt in range(TRIES):
            try:
                return self._once(urllib.request.Request(url, headers=headers))  # noqa: S310  checked above
            except urllib.error.HTTPError as error:
                with error:
                    if error.code not in BUSY:
                        return Fetched(error.code, "", b"")
                    why = f"HTTP {error.code}"
                    pause = _wanted(error.headers.get("Retry-After"), attempt)
            except (OSError, http.client.HTTPException, EOFError, zlib.error) as error:
                why, pause = str(error) or type(error).__name__, _wanted(None, attempt)
            if attempt < TRIES - 1:
                self._sleep(pause)
        raise self.silent(why)

    def _check_address(self) -> None:
        """A name that suddenly stands for an address inside is not asked, as with webhooks."""
        parts = urlsplit(self.base)
        port = parts.port or (443 if parts.scheme == "https" else 80)
        try:
            addresses_of(Target(parts.scheme, str(parts.hostname), port, "/"))
        except Unreachable as error:
            if error.code != "address_refused":
                raise self.silent(_("its name is not known")) from None
            if not self._private:
                raise RegistryError(
                    "address_private",
                    _("{url} is inside a private network.").format(url=self.base),
                    _("Say --private if the registry is in your own network."),
                ) from None

    def _once(self, request: urllib.request.Request) -> Fetched:
        with self._opener.open(request, timeout=TIMEOUT) as answer:
            content = answer.read(MOST_BYTES + 1)
            if answer.headers.get("Content-Encoding") == "gzip":
                content = gzip.GzipFile(fileobj=io.BytesIO(content)).read(MOST_BYTES + 1)
            if len(content) > MOST_BYTES:
                raise self.silent(_("what it sends is too large"))
            return Fetched(answer.status, answer.headers.get("ETag") or "", content)

    def silent(self, why: str) -> RegistryError:
        """What to raise where the other side is not to be understood."""
        return RegistryError(
            SILENT,
            _("{url} does not answer as a registry does: {why}.").format(url=self.base, why=why),
            _("Try again later: what was taken over stays, and it goes on from there."),
        )


def _wanted(retry_after: str | None, attempt: int) -> float:
    """Seconds to wait: as asked for, else twice as long each time."""
    if retry_after is not None and retry_after.isascii() and retry_after.isdigit():
        return min(float(retry_after), LONGEST_WAIT)
    return min(0.5 * 2.0**attempt, LONGEST_WAIT)
