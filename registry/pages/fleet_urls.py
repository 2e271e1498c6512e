"""Addresses of a workshop's own vehicles."""

from __future__ import annotations

from django.urls import URLPattern, path

from registry.pages import fleet, fleet_care

urlpatterns: list[URLPattern] = [
    path("", fleet.fleets, name="fleets"),
    path("join/<str:token>/", fleet_care.fleet_join, name="fleet_join"),
    path("calendar/<str:token>.ics", fleet.fleet_feed, name="fleet_feed"),
    path("vehicles/<uuid:uuid>/", fleet.vehicle, name="vehicle"),
    path("vehicles/<uuid:uuid>/job/", fleet.vehicle_begin, name="vehicle_begin"),
    path("<uuid:uuid>/", fleet.fleet, name="fleet"),
    path("<uuid:uuid>/due.csv", fleet.fleet_csv, name="fleet_csv"),
    path("<uuid:uuid>/care/", fleet_care.fleet_care, name="fleet_care"),
    path("<uuid:uuid>/vehicles/", fleet_care.fleet_table, name="fleet_table"),
]
