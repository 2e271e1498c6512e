"""Who comes to the desk: moderators, by one rule; everybody else is told so."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse

from registry.models import User
from registry.permissions import require


def moderator_page(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    @login_required
    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(request.user, "moderate")
        return view(request, *args, **kwargs)

    return guarded


def person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user
