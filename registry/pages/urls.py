"""Addresses of the pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.pages import (
    account,
    before_pulling,
    bench,
    blank,
    cautions,
    chart,
    check,
    front,
    my_sheets,
    own,
    preferences,
    preparation,
    propose,
    worker,
)

urlpatterns: list[URLPattern] = [
    path("", front.front, name="front"),
    path("sw.js", worker.service_worker, name="service_worker"),
    path("offline/", worker.offline, name="offline"),
    path("about/", front.about, name="about"),
    path("cautions/", cautions.cautions, name="cautions"),
    path("designs/", front.search, name="search"),
    path("designs/propose/", propose.propose, name="propose"),
    path("designs/<uuid:uuid>/", chart.design, name="design"),
    path("designs/<uuid:uuid>/revisions/<int:number>/", chart.revision, name="revision"),
    path("designs/<uuid:uuid>/revisions/<int:number>/qr.svg", chart.qr, name="qr"),
    path("designs/<uuid:uuid>/compare/", chart.compare, name="compare"),
    path("designs/<uuid:uuid>/bench/", bench.bench, name="bench"),
    path("designs/<uuid:uuid>/preparation/", preparation.preparation, name="preparation"),
    path("designs/<uuid:uuid>/blank.pdf", blank.blank, name="blank"),
    path("designs/<uuid:uuid>/check/", check.check_design, name="check_design"),
    path("check/", check.check, name="check"),
    path("identify/", check.identify, name="identify"),
    path("before-pulling/", before_pulling.before_pulling, name="before_pulling"),
    path("sheets/", my_sheets.my_sheets, name="my_sheets"),
    path("sheets/own/", own.own, name="own"),
    path("sheets/own/data.json", own.data, name="own_data"),
    path("sheets/own/<uuid:uuid>/", own.own_design, name="own_design"),
    path("shared/<str:token>/", own.own_shared, name="own_shared"),
    path("sheets/<uuid:uuid>/", my_sheets.sheet, name="sheet"),
    path("sheets/<uuid:uuid>/amend/", my_sheets.amend, name="sheet_amend"),
    path("sheets/<uuid:uuid>/withdraw/", my_sheets.withdraw, name="sheet_withdraw"),
    path("sheets/<uuid:uuid>/restore/", my_sheets.restore, name="sheet_restore"),
    path("sheets/<uuid:uuid>/pictures/", my_sheets.picture, name="sheet_picture"),
    path("sheets/<uuid:uuid>/pictures/<int:order>/", my_sheets.picture_file, name="picture_file"),
    path("preferences/", preferences.preferences, name="preferences"),
    path("account/own/", account.account, name="account"),
    path("account/own/erase/", account.erase, name="account_erase"),
    path("account/own/meters/", account.meters, name="meters"),
    path("account/own/tokens/", account.tokens, name="tokens"),
]
