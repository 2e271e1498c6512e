"""How much one address or one account may ask, with the rest of the allowance in every answer.

The generic cell rate algorithm (ITU-T I.371): one time stamp a caller, no list of requests; what was used
comes back steadily instead of all at once at the full hour.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from registry.models import ApiToken, User
from registry.selectors.api_allowance import allowance_factor
from registry.sign_in import caller_of

SECONDS = {"second": 1, "minute": 60, "hour": 3600, "day": 86400}
FACTOR_KEPT = 3600


@dataclass(frozen=True)
class Policy:
    name: str
    quota: int
    window: int  # seconds


@dataclass(frozen=True)
class Allowance:
    """What is left of a policy: requests, and seconds until one more comes back."""

    policy: Policy
    remaining: int
    more_in: int

    def headers(self) -> dict[str, str]:
        """As in draft-ietf-httpapi-ratelimit-headers."""
        policy = self.policy
        return {
            "RateLimit-Policy": f'"{policy.name}";q={policy.quota};w={policy.window}',
            "RateLimit": f'"{policy.name}";r={self.remaining};t={self.more_in}',
        }


def policy_named(name: str, factor: float = 1.0) -> Policy:
    """From the settings' `600/hour`; factor: of a trusted or a new account."""
    quota, _, per = settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"][name].partition("/")
    return Policy(name, max(1, round(int(quota) * factor)), SECONDS[per])


class Spent(Exception):
    """Nothing is left; wait: seconds until one more comes back."""

    def __init__(self, allowance: Allowance, wait: float) -> None:
        super().__init__("throttled")
        self.allowance, self.wait = allowance, wait


def take(policy: Policy, key: str, cost: int = 1) -> Allowance:
    """What is left after taking `cost`; raises Spent."""
    spacing = policy.window / policy.quota
    now = time.time()
    kept = cache.get(key, 0.0)
    if kept > now + policy.window:  # never is, unless the clock was set back: nobody waits for that
        kept = now
    due = max(now, kept) + cost * spacing
    ahead = due - now
    spent = ahead > policy.window + 1e-6
    if spent:
        ahead -= cost * spacing
    else:
        cache.set(key, due, timeout=policy.window)
    left = max(0, int((policy.window - ahead) / spacing + 1e-6))
    allowance = Allowance(policy, left, int(spacing) + 1)
    if spent:
        raise Spent(allowance, ahead + cost * spacing - policy.window)
    return allowance


def address_of(request: HttpRequest | Request) -> str:
    """The caller's address; what a client claims of itself counts only behind a known number of proxies."""
    return caller_of(str(BaseThrottle().get_ident(request)))  # type: ignore[arg-type]


def guest_key(address: str) -> str:
    return f"api-rate-a-{address}"


class CallerThrottle(BaseThrottle):
    """A guest counts by address, a token by itself, a session by its account.

    Who was refused before it was known who asks counts by address.
    """

    wait_seconds = 0.0

    def allow_request(self, request: Request, view: Any) -> bool:
        policy, key = self._policy(request)
        try:
            allowance = take(policy, key, getattr(view, "cost", 1))
        except Spent as spent:
            self.wait_seconds, allowance = spent.wait, spent.allowance
        request._request.allowance = allowance  # type: ignore[attr-defined]
        return not self.wait_seconds

    def wait(self) -> float | None:
        return self.wait_seconds or None

    def _policy(self, request: Request) -> tuple[Policy, str]:
        user = getattr(request, "_user", None)  # asked for again, a session refused for its CSRF would raise
        if not isinstance(user, User):
            return policy_named("anon"), guest_key(address_of(request))
        factor_key = f"api-factor-{user.pk}"
        factor = cache.get(factor_key)
        if factor is None:
            factor = allowance_factor(user)
            cache.set(factor_key, factor, timeout=FACTOR_KEPT)
        who = f"t-{request.auth.pk}" if isinstance(request.auth, ApiToken) else f"u-{user.pk}"
        return policy_named("user", factor), f"api-rate-{who}"
