"""Addresses of the pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.pages import before_pulling, cautions, front

urlpatterns: list[URLPattern] = [
    path("", front.front, name="front"),
    path("designs/", front.search, name="search"),
    path("before-pulling/", before_pulling.before_pulling, name="before_pulling"),
    path("cautions/", cautions.cautions, name="cautions"),
    path("about/", front.about, name="about"),
]
