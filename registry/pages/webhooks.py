"""One's own webhooks: make one, see what arrived and what didn't, send again."""

from __future__ import annotations

from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from registry.errors import RegistryErrors
from registry.models import Change, User, Webhook, WebhookDelivery
from registry.pages.form_errors import lay_errors
from registry.selectors.webhooks import deliveries_of, webhook_named, webhooks_of
from registry.services.webhooks.keeping import (
    delivery_replay,
    webhook_end,
    webhook_make,
    webhook_replay,
    webhook_secret,
)

ON_A_PAGE = 25
KIND_WORDS = {
    Change.Kind.CHART_PUBLISHED: gettext_lazy("charts published"),
    Change.Kind.CHART_WITHDRAWN: gettext_lazy("charts withdrawn"),
    Change.Kind.DESIGN_ADDED: gettext_lazy("new designs"),
    Change.Kind.SHEET_ADDED: gettext_lazy("bench sheets that come in"),
    Change.Kind.SHEET_AMENDED: gettext_lazy("bench sheets amended"),
    Change.Kind.SHEET_WITHDRAWN: gettext_lazy("bench sheets taken back"),
    Change.Kind.SHEET_RESTORED: gettext_lazy("bench sheets brought back"),
    Change.Kind.DECISION_IN_FORCE: gettext_lazy("decisions"),
    Change.Kind.DECISION_UNDONE: gettext_lazy("decisions undone"),
    Change.Kind.JOB_TOLD: gettext_lazy("what jobs tell: facts, units over time, outcomes"),
}
STATE_WORDS = {
    WebhookDelivery.State.WAITING: gettext_lazy("waits"),
    WebhookDelivery.State.DELIVERED: gettext_lazy("arrived"),
    WebhookDelivery.State.DEAD: gettext_lazy("given up"),
}
ERROR_WORDS = {
    "name_unknown": gettext_lazy("The name leads nowhere."),
    "address_refused": gettext_lazy("The name leads into a private network."),
    "certificate": gettext_lazy("The certificate is not valid."),
    "timeout": gettext_lazy("No answer in time."),
    "no_answer": gettext_lazy("The connection failed."),
}


class WebhookForm(forms.Form):
    url = forms.CharField(
        label=gettext_lazy("Address of your program"),
        required=False,
        max_length=500,
        help_text=gettext_lazy("It begins with https and can be reached from outside."),
    )
    kinds = forms.MultipleChoiceField(
        label=gettext_lazy("What it is told of"),
        required=False,
        choices=list(KIND_WORDS.items()),
        widget=forms.CheckboxSelectMultiple,
        help_text=gettext_lazy("Nothing chosen: all of it."),
    )


@login_required
def webhooks(request: HttpRequest) -> HttpResponse:
    """The list and the form; a new one's secret stands on the answer to the post that made it."""
    assert isinstance(request.user, User)
    form, secret = WebhookForm(request.POST or None), ""
    if request.method == "POST" and form.is_valid():
        try:
            _webhook, secret = webhook_make(by=request.user, body=form.cleaned_data)
            form = WebhookForm()
        except RegistryErrors as errors:
            lay_errors(form, errors)
    context = {"page": "account", "form": form, "secret": secret, "webhooks": webhooks_of(request.user)}
    response = render(request, "contributor/webhooks.html", context, status=400 if form.errors else 200)
    response["Cache-Control"] = "no-store"
    return response


@login_required
def webhook(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """One of them with its deliveries; dead letters can be sent again."""
    assert isinstance(request.user, User)
    found = webhook_named(request.user, uuid)
    if found is None:
        raise Http404
    secret = ""
    if request.method == "POST":
        act = request.POST.get("act", "")
        if act != "secret":
            return _done(request, found, act)
        secret = webhook_secret(by=request.user, webhook=found)
    pages = Paginator(deliveries_of(found).order_by("-pk"), ON_A_PAGE)
    rows = pages.get_page(request.GET.get("page"))
    for row in rows:
        row.word = STATE_WORDS[WebhookDelivery.State(row.state)]  # type: ignore[attr-defined]
        row.why = ERROR_WORDS.get(row.error, "")  # type: ignore[attr-defined]
    kinds = [KIND_WORDS[Change.Kind(kind)] for kind in found.kinds]
    context = {"page": "account", "webhook": found, "rows": rows, "kinds": kinds, "secret": secret}
    response = render(request, "contributor/webhook.html", context)
    response["Cache-Control"] = "no-store"
    return response


def _done(request: HttpRequest, found: Webhook, act: str) -> HttpResponse:
    assert isinstance(request.user, User)
    if act == "end":
        webhook_end(by=request.user, webhook=found)
        messages.success(request, _("The webhook has ended."))
        return redirect("webhooks")
    if act == "resume":
        webhook_replay(by=request.user, webhook=found, since=found.read_up_to)
        messages.success(request, _("It goes on from where it stopped."))
        return redirect("webhook", uuid=found.uuid)
    try:
        delivery = deliveries_of(found).filter(uuid=UUID(act)).first()
    except ValueError:
        delivery = None
    if delivery is None:
        raise Http404
    delivery_replay(by=request.user, delivery=delivery)
    messages.success(request, _("It will be sent again in a moment."))
    return redirect("webhook", uuid=found.uuid)
