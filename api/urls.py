"""Addresses of API v1."""

from __future__ import annotations

from django.urls import path, re_path, register_converter

from api.converters import NumberConverter
from api.views import charts, checks, description, designs, findings, submissions, tokens

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
    path("submissions/", submissions.Submissions.as_view(), name="api_submissions"),
    path("submissions/bulk/", submissions.Bulk.as_view(), name="api_bulk"),
    path("submissions/preview/", checks.Preview.as_view(), name="api_preview"),
    path("submissions/<uuid:submission>/", submissions.OneSubmission.as_view(), name="api_submission"),
    path("submissions/<uuid:submission>/withdraw/", submissions.Withdrawal.as_view(), name="api_withdraw"),
    path("submissions/<uuid:submission>/restore/", submissions.Restoration.as_view(), name="api_restore"),
    path("findings/", findings.Findings.as_view(), name="api_findings"),
    path("check/", checks.Check.as_view(), name="api_check"),
    path("identify/", checks.Identify.as_view(), name="api_identify"),
    path("tokens/", tokens.Tokens.as_view(), name="api_tokens"),
    path("tokens/<slug:token>/", tokens.OneToken.as_view(), name="api_token"),
    re_path(r"^.*$", description.Nowhere.as_view(), name="api_nowhere"),
]
