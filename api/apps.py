from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"
    verbose_name = "API"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from api.description import schema  # noqa: F401  registers how tokens and sessions are described
