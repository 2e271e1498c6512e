"""The reader's language, and km or miles: from the account, else from cookies, else from the browser."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import redirect
from django.utils import translation
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.csrf import csrf_exempt, csrf_protect

from registry.errors import RegistryError
from registry.formats.figures import KM_A_MILE
from registry.formats.typed_number import typed_number
from registry.models import User
from registry.services.accounts import preferences_keep

LASTS = timedelta(days=365)
DISTANCE_COOKIE = f"{settings.COOKIE_PREFIX}distance_unit"
UNITS = ("km", "mi")


class ReaderLanguage:
    """After Django's own choice by cookie and browser: whoever chose one on their account has that."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.SESSION_COOKIE_NAME in request.COOKIES:
            chosen = getattr(request.user, "language", "")
            if chosen in LANGUAGES:
                translation.activate(chosen)
                request.LANGUAGE_CODE = chosen
        return self.get_response(request)


LANGUAGES = tuple(code for code, _name in settings.LANGUAGES)


def distance_unit(request: HttpRequest) -> str:
    """ "km" or "mi"."""
    user = getattr(request, "user", None)
    chosen = user.distance_unit if isinstance(user, User) else request.COOKIES.get(DISTANCE_COOKIE)
    return chosen if chosen in UNITS else "km"


def posted(request: HttpRequest, names: Iterable[str]) -> dict[str, Any]:
    """Fields of a form; those whose names end in km were typed in the reader's unit and are given in km."""
    unit = distance_unit(request)
    values = {name: str(request.POST.get(name, "")) for name in names}
    return {name: to_km(value, unit) if name.endswith("km") else value for name, value in values.items()}


def to_km(text: str, unit: str) -> str | float:
    """Kilometres from what was typed; km, and what is no clear number, as typed, for the service to judge."""
    if unit != "mi":
        return text
    try:
        return round(typed_number(text) * KM_A_MILE, 3)
    except RegistryError:
        return text


@csrf_exempt  # a guest's page is the same for all and holds no token; whoever signed in is asked for theirs
def preferences(request: HttpRequest) -> HttpResponse:
    """Posted from the foot of every page: `language` or `distance_unit`, and back to where one was."""
    if request.method != "POST":
        return HttpResponseNotAllowed(["POST"])
    if getattr(request, "user", AnonymousUser()).is_authenticated:
        return _of_account(request)
    return _to_cookies(request)


@csrf_protect
def _of_account(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    preferences_keep(
        by=request.user,
        language=request.POST.get("language"),
        distance_unit=request.POST.get("distance_unit"),
    )
    return _to_cookies(request)


def _to_cookies(request: HttpRequest) -> HttpResponse:
    """Kept in the browser too: the sign-in page speaks the same language."""
    there = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(there, {request.get_host()}, require_https=request.is_secure()):
        there = "/"
    response = redirect(there)
    asked = {
        settings.LANGUAGE_COOKIE_NAME: (request.POST.get("language"), LANGUAGES),
        DISTANCE_COOKIE: (request.POST.get("distance_unit"), UNITS),
    }
    for cookie, (value, known) in asked.items():
        if value in known:
            assert value is not None
            response.set_cookie(
                cookie, value, max_age=LASTS, samesite="Lax", httponly=True, secure=request.is_secure()
            )
    return response
