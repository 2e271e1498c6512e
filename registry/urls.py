"""Addresses.  Every one has a named rule in `registry.permissions` or is open to read."""

from __future__ import annotations

from django.urls import include, path

from registry.moderation.invitations import invitation
from registry.pages.metrics import metrics
from registry.pages.signed_in import signed_in

urlpatterns = [
    path("", include("registry.pages.urls")),
    path("", include("registry.pages.taking_part")),
    path("", include("registry.pages.open_data")),
    path("", include("registry.pages.kept")),
    path("fleet/", include("registry.pages.fleet_urls")),
    path("desk/", include("registry.moderation.urls")),
    path("invitations/<str:token>/", invitation, name="invitation"),
    path("account/sessions/", signed_in, name="usersessions_list"),  # the library's, as a page of ours
    path("account/", include("allauth.urls")),
    path("jobs/", include("registry.pages.jobs.urls")),
    path("api/v1/", include("api.urls")),
    path("metrics", metrics, name="metrics"),
    path("health/", include("registry.pages.health")),
]
handler400 = "registry.pages.errors.bad_request"
handler403 = "registry.pages.errors.forbidden"
handler404 = "registry.pages.errors.not_found"
handler500 = "registry.pages.errors.server_error"
