"""Addresses of what people do besides reading and measuring: dispute, follow, ask, enter a whole matrix."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.pages import disputes, import_file, matrix, wanted

urlpatterns: list[URLPattern] = [
    path("wanted/", wanted.wanted, name="wanted"),
    path("designs/<uuid:uuid>/follow/", wanted.follow_design, name="follow_design"),
    path("designs/<uuid:uuid>/matrix/", matrix.matrix, name="matrix"),
    path("designs/<uuid:uuid>/import/", import_file.import_file, name="import_file"),
    path("designs/<uuid:uuid>/import/template.xlsx", import_file.template, name="import_template"),
    path("designs/<uuid:uuid>/matrix/blank.<str:form>", matrix.blank, name="matrix_blank"),
    path("disputes/new/<str:kind>/<uuid:uuid>/", disputes.dispute_new, name="dispute_new"),
    path("disputes/<uuid:uuid>/", disputes.dispute, name="dispute"),
    path("decisions/<uuid:uuid>/agree/", disputes.decision_agree, name="decision_agree"),
    path("notices/", disputes.notices, name="notices"),
    path("notices/stop/<str:token>/", disputes.mail_stopped, name="mail_stop"),
]
