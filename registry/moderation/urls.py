"""Addresses of the desk."""

from __future__ import annotations

from django.urls import URLPattern, path, register_converter

from registry.models.desk import CaseKind
from registry.moderation import accounts, catalogue, desk, habits, invitations, log, reporting


class CaseWord:
    """One of the kinds of case."""

    regex = "|".join(CaseKind.values)

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return str(value)


register_converter(CaseWord, "case")

urlpatterns: list[URLPattern] = [
    path("", desk.desk, name="desk"),
    path("<case:kind>/<uuid:uuid>/", desk.case, name="case"),
    path("<case:kind>/<uuid:uuid>/decide/", desk.case_act, name="case_act"),
    path("<case:kind>/<uuid:uuid>/claim/", desk.claim, name="case_claim"),
    path("decisions/<uuid:uuid>/undo/", desk.decision_undo, name="decision_undo"),
    path("threads/<uuid:uuid>/write/", desk.thread_write, name="thread_write"),
    path("designs/<uuid:uuid>/refresh/", desk.refresh_again, name="desk_refresh"),
    path("several/", desk.several, name="desk_several"),
    path("accounts/", accounts.accounts, name="desk_accounts"),
    path("accounts/<uuid:uuid>/", accounts.account, name="desk_account"),
    path("habits/", habits.habits, name="desk_habits"),
    path("invitations/", invitations.invitations, name="desk_invitations"),
    path("catalogue/", catalogue.catalogue, name="desk_catalogue"),
    path("catalogue/designs/<uuid:uuid>/", catalogue.design, name="desk_design"),
    path("catalogue/parts/<uuid:uuid>/", catalogue.part, name="desk_part"),
    path("reporting/", reporting.reporting, name="desk_reporting"),
    path("log/", log.log, name="desk_log"),
]
