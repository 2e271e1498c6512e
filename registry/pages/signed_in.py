"""Where one is signed in: each browser by its name, and a way to end what one does not know any more."""

from __future__ import annotations

from allauth.account.decorators import reauthentication_required
from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext as _

from registry.models import User
from registry.services.signed_in import session_end, sessions_end_others, sessions_of

# As browsers call themselves; most claim to be others too, so the order counts.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("Firefox/", "Firefox"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)


@login_required
@reauthentication_required(allow_get=True)
def signed_in(request: HttpRequest) -> HttpResponse:
    """The list; a post ends one session, or all others."""
    assert isinstance(request.user, User)
    if request.method == "POST":
        _end(request, request.user)
        return redirect("usersessions_list")
    if not UserSession.objects.filter(session_key=request.session.session_key).exists():
        UserSession.objects.create_from_request(request)  # of before there was a list
    sessions = sessions_of(request.user, here=request.session.session_key)
    rows = [(session, browser_words(session.agent)) for session in sessions]
    context = {"page": "account", "rows": rows, "others": any(not one.is_here for one in sessions)}
    return render(request, "usersessions/usersession_list.html", context)


def _end(request: HttpRequest, user: User) -> None:
    which = request.POST.get("end", "")
    if which == "others":
        sessions_end_others(by=user, here=request.session.session_key)
        messages.success(request, _("You are signed in here only."))
    elif which.isdecimal() and len(which) < 19 and session_end(by=user, number=int(which)):
        messages.success(request, _("That session has ended."))


def browser_words(agent: str) -> str:
    """The browser and its machine; a program that is neither by its first word.

    >>> browser_words("Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0")
    'Firefox, Android'
    >>> browser_words("curl/8.5.0")
    'curl'
    """
    named = [next((name for sign, name in known if sign in agent), "") for known in (BROWSERS, SYSTEMS)]
    return ", ".join(filter(None, named)) or agent.partition("/")[0][:40] or _("a program without a name")


def others_offer(request: HttpRequest, user: User) -> None:
    """Say that the account is signed in elsewhere too, where it is; once, however much changed at once."""
    if getattr(request, "others_offered", False):
        return
    if not UserSession.objects.filter(user=user).exclude(session_key=request.session.session_key).exists():
        return
    request.others_offered = True  # type: ignore[attr-defined]
    text = format_html(
        '{} <a href="{}">{}</a>',
        _("Your second factor has changed, and you are signed in elsewhere too."),
        reverse("usersessions_list"),
        _("End the other sessions"),
    )
    messages.info(request, text)
