"""Addresses of API v1."""

from __future__ import annotations

from django.urls import path, re_path, register_converter

from api.converters import NumberConverter
from api.views import charts, description, designs

register_converter(NumberConverter, "number")

urlpatterns = [
    path("schema/", description.Schema.as_view(), name="api_schema"),
    path("docs/", description.Docs.as_view(), name="api_docs"),
    path("designs/", designs.Designs.as_view(), name="api_designs"),
    path("designs/<uuid:design>/", designs.OneDesign.as_view(), name="api_design"),
    path("charts/", charts.Charts.as_view(), name="api_charts"),
    path("charts/<uuid:design>/", charts.CurrentChart.as_view(), name="api_chart"),
    path("charts/<uuid:design>/revisions/", charts.Revisions.as_view(), name="api_revisions"),
    path(
        "charts/<uuid:design>/revisions/<number:number>/",
        charts.OneRevision.as_view(),
        name="api_revision",
    ),
    path("charts/<uuid:design>/difference/", charts.Difference.as_view(), name="api_difference"),
    re_path(r"^.*$", description.Nowhere.as_view(), name="api_nowhere"),
]
