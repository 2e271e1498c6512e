"""Addresses of the pages of jobs."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.pages.jobs import begin, card, identify, report, sending, steps

urlpatterns: list[URLPattern] = [
    path("", begin.my_jobs, name="my_jobs"),
    path("new/", begin.new, name="job_new"),
    path("link/<str:token>/", begin.link, name="job_link"),
    path("<uuid:uuid>/", card.card, name="job"),
    path("<uuid:uuid>/steps/<str:step>/", steps.step, name="job_step"),
    path("<uuid:uuid>/pictures/<int:order>/", steps.picture, name="job_picture"),
    path("<uuid:uuid>/identify/", identify.identify, name="job_identify"),
    path("<uuid:uuid>/recheck/", steps.recheck, name="job_recheck"),
    path("<uuid:uuid>/reopen/", steps.reopen, name="job_reopen"),
    path("<uuid:uuid>/send/<str:what>/", sending.send, name="job_send"),
    path("<uuid:uuid>/link/", begin.link_change, name="job_link_change"),
    path("<uuid:uuid>/take-over/", begin.take_over, name="job_take_over"),
    path("<uuid:uuid>/report.pdf", report.report, name="job_report"),
]
