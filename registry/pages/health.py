"""Whether the process lives, and whether it can do its work.

Both are asked every few seconds, by anybody: nothing here costs more than one question to the database.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from django.conf import settings
from django.db import Error, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, JsonResponse
from django.urls import path


def live(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"status": "live"})


def ready(request: HttpRequest) -> JsonResponse:
    """Ready: the database answers and has all migrations of this code, and nobody is about to stop it."""
    if settings.BENCHQUORUM_LEAVING and Path(settings.BENCHQUORUM_LEAVING).exists():
        return JsonResponse({"status": "leaving"}, status=503)
    try:
        applied = MigrationRecorder(connection).migration_qs.values_list("app", "name")
        behind = not newest_migrations().issubset(applied)
    except Error:
        return JsonResponse({"status": "no database"}, status=503)
    if behind:
        return JsonResponse({"status": "migrations missing"}, status=503)
    return JsonResponse({"status": "ready"})


@cache
def newest_migrations() -> frozenset[tuple[str, str]]:
    """The last one of each app, as (app, name).  Read from the files, so once a process."""
    return frozenset(MigrationLoader(None).graph.leaf_nodes())


urlpatterns = [path("live", live, name="health_live"), path("ready", ready, name="health_ready")]
