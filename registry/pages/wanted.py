"""The wanted list, and following a design."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from registry.models import Design, User
from registry.selectors.wanted import follows_of, wanted_designs
from registry.services.wanted import follow, unfollow, want_no_more

A_PAGE = 25


def wanted(request: HttpRequest) -> HttpResponse:
    user = request.user if isinstance(request.user, User) else None
    pages = Paginator(wanted_designs(user), A_PAGE).get_page(request.GET.get("page", 1))
    return render(
        request,
        "technician/wanted.html",
        {"page": "wanted", "pages": pages, "follows": follows_of(user) if user else []},
    )


@login_required
@require_POST
def follow_design(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """act: follow, unfollow, want, want_no_more."""
    assert isinstance(request.user, User)
    design = get_object_or_404(Design, uuid=uuid)
    act = request.POST.get("act", "follow")
    if act == "unfollow":
        unfollow(by=request.user, design=design)
        messages.success(request, _("You don't follow {name} any more.").format(name=design.name))
    elif act == "want_no_more":
        want_no_more(by=request.user, design=design)
    else:
        follow(by=request.user, design=design, wanting=act == "want")
        text = _("You hear when the pattern of {name} changes beyond its tolerance.")
        messages.success(request, text.format(name=design.name))
    return redirect("wanted" if request.POST.get("from") == "wanted" else design_address(design))


def design_address(design: Design) -> str:
    from django.urls import reverse

    return reverse("design", args=[design.uuid])
