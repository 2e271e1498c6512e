from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    name = "registry"
    verbose_name = "Registry"

    def ready(self) -> None:
        post_migrate.connect(keep_published, sender=self)


def keep_published(using: str, **more: Any) -> None:
    """After every migration, for a rebuilt table loses its triggers."""
    from django.db import connections

    from registry.immutability import install

    install(connections[using])
