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
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from registry.models import ApiToken, User
from registry.selectors.api_allowance import allowance_factor

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


def policy_named(name: str, factor: float = 1.0) -> Policy:
    """From the settings' `600/hour`; factor: of a trusted or a new account."""
    quota, _, per = settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"][name].partition("/")
    return Policy(name, max(1, round(int(quota) * factor)), SECONDS[per])


class CallerThrottle(BaseThrottle):
    """A guest counts by address, a token by itself, a session by its account."""

    wait_seconds = 0.0

    def allow_request(self, request: Request, view: Any) -> bool:
        policy, key = self._policy(request)
        spacing = policy.window / policy.quota
        now = time.time()
        cost = getattr(view, "cost", 1)
        due = max(now, cache.get(key, 0.0)) + cost * spacing
        ahead = due - now
        allowed = ahead <= policy.window + 1e-6
        if allowed:
            cache.set(key, due, timeout=policy.window)
        else:
            self.wait_seconds = ahead - policy.window
            ahead -= cost * spacing
        left = max(0, int((policy.window - ahead) / spacing + 1e-6))
        request._request.allowance = Allowance(policy, left, int(spacing) + 1)  # type: ignore[attr-defined]
        return allowed

    def wait(self) -> float | None:
        return self.wait_seconds or None

    def _policy(self, request: Request) -> tuple[Policy, str]:
        user = request.user
        if not isinstance(user, User):
            return policy_named("anon"), f"api-rate-a-{self.get_ident(request)}"
        factor_key = f"api-factor-{user.pk}"
        factor = cache.get(factor_key)
        if factor is None:
            factor = allowance_factor(user)
            cache.set(factor_key, factor, timeout=FACTOR_KEPT)
        who = f"t-{request.auth.pk}" if isinstance(request.auth, ApiToken) else f"u-{user.pk}"
        return policy_named("user", factor), f"api-rate-{who}"
