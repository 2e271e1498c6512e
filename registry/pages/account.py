"""One's own page: workshop, units of distance, meters, API tokens, the way out."""

from __future__ import annotations

from allauth.account.decorators import reauthentication_required
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.errors import RegistryErrors
from registry.models import User
from registry.pages.form_errors import lay_errors
from registry.pages.sheet_form import MeterForm
from registry.permissions import is_moderator
from registry.selectors.bench_page import meters_of
from registry.selectors.tokens import tokens_of
from registry.services.accounts import account_erase, contributor_of, preferences_keep, workshop_join
from registry.services.meters import meter_keep
from registry.services.tokens import LONGEST_DAYS, token_make, token_revoke


class OwnForm(forms.Form):
    workshop = forms.CharField(
        label=gettext_lazy("Workshop"),
        required=False,
        max_length=120,
        help_text=gettext_lazy("Colleagues of one workshop count as one voice where independence matters."),
    )
    distance_unit = forms.ChoiceField(
        label=gettext_lazy("Distances in"), choices=[("km", "km"), ("mi", gettext_lazy("miles"))]
    )
    language = forms.ChoiceField(
        label=gettext_lazy("Language"),
        choices=[("", gettext_lazy("As the browser asks")), *settings.LANGUAGES],
        required=False,
    )
    speak_prompts = forms.BooleanField(
        label=gettext_lazy("Speak each pin and position on the bench sheet"), required=False
    )


class TokenForm(forms.Form):
    name = forms.CharField(label=gettext_lazy("What is it for?"), required=False, max_length=80)
    scopes = forms.MultipleChoiceField(
        label=gettext_lazy("What may it do?"), required=False, widget=forms.CheckboxSelectMultiple
    )
    days = forms.IntegerField(
        label=gettext_lazy("It ends after, days"), initial=90, min_value=1, max_value=LONGEST_DAYS
    )


SCOPE_WORDS = (
    ("read", gettext_lazy("read charts and sheets")),
    ("submit", gettext_lazy("send sheets in your name")),
    ("moderate", gettext_lazy("moderate")),
)


@login_required
def account(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    me = contributor_of(request.user)
    form = OwnForm(
        request.POST or None,
        initial={
            "workshop": me.workshop.name if me.workshop else "",
            "distance_unit": request.user.distance_unit,
            "language": request.user.language,
            "speak_prompts": request.user.speak_prompts,
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            workshop_join(by=request.user, name=form.cleaned_data["workshop"])
        except RegistryErrors as errors:
            lay_errors(form, errors)
        else:
            preferences_keep(
                by=request.user,
                distance_unit=form.cleaned_data["distance_unit"],
                language=form.cleaned_data["language"],
                speak_prompts=form.cleaned_data["speak_prompts"],
            )
            messages.success(request, _("Kept."))
            return redirect("account")
    context = {"page": "account", "form": form, "me": me}
    return render(request, "contributor/account.html", context, status=400 if form.errors else 200)


@login_required
@reauthentication_required(allow_get=True)
def erase(request: HttpRequest) -> HttpResponse:
    """Delete the account, asked for with one's own address; readings stay under the pseudonym."""
    assert isinstance(request.user, User)
    wrong = False
    if request.method == "POST":
        wrong = request.POST.get("email", "").strip().lower() != request.user.email
        if not wrong:
            account_erase(by=User.objects.get(pk=request.user.pk))
            logout(request)
            messages.success(request, _("Your account is deleted."))
            return redirect("front")
    context = {"page": "account", "me": contributor_of(request.user), "wrong": wrong}
    return render(request, "contributor/erase.html", context)


@login_required
def meters(request: HttpRequest) -> HttpResponse:
    assert isinstance(request.user, User)
    form = MeterForm(request.POST or None)
    if request.method == "POST":
        said = {name: str(form.data.get(name, "")).strip() for name in form.fields}
        body = {name: value for name, value in said.items() if value} | {"name": said["meter_name"]}
        try:
            meter_keep(by=request.user, body=body)
        except RegistryErrors as errors:
            lay_errors(form, errors, {"name": "meter_name"})
        else:
            messages.success(request, _("The meter is remembered."))
            return redirect("meters")
    context = {"page": "account", "form": form, "meters": meters_of(request.user)}
    return render(request, "contributor/meters.html", context, status=400 if form.errors else 200)


@login_required
@reauthentication_required(allow_get=True, enabled=lambda request: not request.POST.get("revoke"))
def tokens(request: HttpRequest) -> HttpResponse:
    """Make and end API tokens; the secret is shown once, on the answer to the post that made it."""
    assert isinstance(request.user, User)
    form, secret = TokenForm(request.POST or None, initial={"scopes": ["read"]}), ""
    choices = [c for c in SCOPE_WORDS if c[0] != "moderate" or is_moderator(request.user)]
    scopes = form.fields["scopes"]
    assert isinstance(scopes, forms.MultipleChoiceField)
    scopes.choices = choices
    if request.method == "POST" and request.POST.get("revoke"):
        if token_revoke(by=request.user, key=request.POST["revoke"]):
            messages.success(request, _("The token no longer works."))
        return redirect("tokens")
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        try:
            _token, secret = token_make(
                by=request.user, name=asked["name"], scopes=asked["scopes"], days=asked["days"]
            )
            form = TokenForm(initial={"scopes": ["read"]})
            form.fields["scopes"].choices = choices  # type: ignore[attr-defined]
        except RegistryErrors as errors:
            lay_errors(form, errors)
    context = {
        "page": "account",
        "form": form,
        "secret": secret,
        "tokens": tokens_of(request.user),
        "scope_words": dict(SCOPE_WORDS),
    }
    response = render(request, "contributor/tokens.html", context, status=400 if form.errors else 200)
    response["Cache-Control"] = "no-store"
    return response
