"""Whether the process lives, and whether it can do its work."""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.urls import path


def live(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"status": "live"})


def ready(request: HttpRequest) -> JsonResponse:
    """Ready: the database answers and has all migrations."""
    try:
        executor = MigrationExecutor(connection)
        behind = bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except DatabaseError:
        return JsonResponse({"status": "no database"}, status=503)
    if behind:
        return JsonResponse({"status": "migrations missing"}, status=503)
    return JsonResponse({"status": "ready"})


urlpatterns = [path("live", live, name="health_live"), path("ready", ready, name="health_ready")]
