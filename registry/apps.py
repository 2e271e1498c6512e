from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_save


class RegistryConfig(AppConfig):
    name = "registry"
    verbose_name = "Registry"

    def ready(self) -> None:
        from allauth.mfa import signals as factors
        from allauth.mfa.totp.internal import auth as codes
        from allauth.usersessions.models import UserSession
        from axes.models import AccessLog

        from registry.services.used_codes import UsedCodes

        codes.cache = UsedCodes()  # each server process has a cache of its own, and a shared one may be away
        post_migrate.connect(keep_published, sender=self)
        pre_save.connect(keep_no_address, sender=AccessLog)
        pre_save.connect(keep_the_block, sender=UserSession)
        factors.authenticator_added.connect(end_unproven)
        for signal in (
            factors.authenticator_added,
            factors.authenticator_removed,
            factors.authenticator_reset,
        ):
            signal.connect(offer_to_end_others)


def keep_published(using: str, **more: Any) -> None:
    """After every migration, for a rebuilt table loses its triggers."""
    from django.db import connections

    from registry import chart_notices, immutability

    immutability.install(connections[using])
    chart_notices.install(connections[using])


def keep_no_address(instance: Any, **more: Any) -> None:
    """Who signed in is kept by the digest by which failed attempts are."""
    from registry.sign_in import account_digest

    if "@" in (instance.username or ""):
        instance.username = account_digest(instance.username)


def keep_the_block(instance: Any, **more: Any) -> None:
    """Of where somebody is signed in from no more is kept than what sign-ups are counted by."""
    from registry.services.sign_ups import block_of

    instance.ip = block_of(str(instance.ip)).partition("/")[0]


def end_unproven(request: Any, user: Any, **more: Any) -> None:
    """Who moderates is signed in nowhere with a password alone, not where they were before either."""
    from registry.services.signed_in import sessions_end_unproven

    sessions_end_unproven(by=user, here=request.session.session_key)


def offer_to_end_others(request: Any, user: Any, **more: Any) -> None:
    """A second factor changed: whoever changed it for a reason may want to be signed in nowhere else."""
    from registry.pages.signed_in import others_offer

    others_offer(request, user)
