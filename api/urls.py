"""Addresses of API v1."""

from __future__ import annotations

from django.urls import path, re_path, register_converter

from api.converters import NumberConverter
from api.views import (
    account,
    behind,
    changes,
    charts,
    checks,
    decisions,
    description,
    designs,
    disputes,
    findings,
    life,
    parts,
    submissions,
    tokens,
    webhooks,
)

register_converter(NumberConverter, "number")

urlpatterns = [
    path("schema/", description.Schema.as_view(), name="api_schema"),
    path("docs/", description.Docs.as_view(), name="api_docs"),
    path("designs/", designs.Designs.as_view(), name="api_designs"),
    path("designs/<uuid:design>/", designs.OneDesign.as_view(), name="api_design"),
    path("designs/<uuid:design>/part/", parts.DesignPart.as_view(), name="api_design_part"),
    path("designs/<uuid:design>/life/", life.Life.as_view(), name="api_life"),
    path("charts/", charts.Charts.as_view(), name="api_charts"),
    path("charts/<uuid:design>/", charts.CurrentChart.as_view(), name="api_chart"),
    path("charts/<uuid:design>/revisions/", charts.Revisions.as_view(), name="api_revisions"),
    path(
        "charts/<uuid:design>/revisions/<number:number>/",
        charts.OneRevision.as_view(),
        name="api_revision",
    ),
    path("charts/<uuid:design>/readings/", behind.CurrentReadings.as_view(), name="api_readings"),
    path(
        "charts/<uuid:design>/revisions/<number:number>/readings/",
        behind.RevisionReadings.as_view(),
        name="api_revision_readings",
    ),
    path("charts/<uuid:design>/line-code/", behind.LineCode.as_view(), name="api_line_code"),
    path("charts/<uuid:design>/short-test/", behind.ShortTest.as_view(), name="api_short_test"),
    path("charts/<uuid:design>/difference/", charts.Difference.as_view(), name="api_difference"),
    path("submissions/", submissions.Submissions.as_view(), name="api_submissions"),
    path("submissions/bulk/", submissions.Bulk.as_view(), name="api_bulk"),
    path("submissions/preview/", checks.Preview.as_view(), name="api_preview"),
    path("submissions/<uuid:submission>/", submissions.OneSubmission.as_view(), name="api_submission"),
    path("submissions/<uuid:submission>/withdraw/", submissions.Withdrawal.as_view(), name="api_withdraw"),
    path("submissions/<uuid:submission>/restore/", submissions.Restoration.as_view(), name="api_restore"),
    path("submissions/<uuid:submission>/unit-events/", life.UnitEvents.as_view(), name="api_unit_events"),
    path("findings/", findings.Findings.as_view(), name="api_findings"),
    path("check/", checks.Check.as_view(), name="api_check"),
    path("identify/", checks.Identify.as_view(), name="api_identify"),
    path("changes/", changes.Changes.as_view(), name="api_changes"),
    path("changes/atom/", changes.AtomFeed.as_view(), name="api_atom"),
    path("disputes/", disputes.Disputes.as_view(), name="api_disputes"),
    path("disputes/<uuid:dispute>/", disputes.OneDispute.as_view(), name="api_dispute"),
    path("disputes/<uuid:dispute>/messages/", disputes.Messages.as_view(), name="api_messages"),
    path("disputes/<uuid:dispute>/take-back/", disputes.TakingBack.as_view(), name="api_take_back"),
    path("decisions/", decisions.Decisions.as_view(), name="api_decisions"),
    path("decisions/<uuid:decision>/", decisions.OneDecision.as_view(), name="api_decision"),
    path("decisions/<uuid:decision>/approve/", decisions.Approval.as_view(), name="api_approve"),
    path("decisions/<uuid:decision>/refuse/", decisions.Refusal.as_view(), name="api_refuse"),
    path("decisions/<uuid:decision>/undo/", decisions.Undoing.as_view(), name="api_undo"),
    path("cases/", decisions.Cases.as_view(), name="api_cases"),
    path("cases/<kind>/<uuid:case>/", decisions.OneCase.as_view(), name="api_case"),
    path("account/", account.Me.as_view(), name="api_account"),
    path("tokens/", tokens.Tokens.as_view(), name="api_tokens"),
    path("tokens/<slug:token>/", tokens.OneToken.as_view(), name="api_token"),
    path("webhooks/", webhooks.Webhooks.as_view(), name="api_webhooks"),
    path("webhooks/<uuid:webhook>/", webhooks.OneWebhook.as_view(), name="api_webhook"),
    path("webhooks/<uuid:webhook>/secret/", webhooks.Secret.as_view(), name="api_webhook_secret"),
    path("webhooks/<uuid:webhook>/replay/", webhooks.Replay.as_view(), name="api_webhook_replay"),
    path("webhooks/<uuid:webhook>/deliveries/", webhooks.Deliveries.as_view(), name="api_deliveries"),
    path(
        "webhooks/<uuid:webhook>/deliveries/<uuid:delivery>/replay/",
        webhooks.DeliveryReplay.as_view(),
        name="api_delivery_replay",
    ),
    re_path(r"^.*$", description.Nowhere.as_view(), name="api_nowhere"),
]
