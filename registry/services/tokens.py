"""API tokens: made with a name, rights and an end; shown once; kept as a digest; revoked at once."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors
from registry.models import ApiToken, User
from registry.permissions import require
from registry.services.audit import record
from registry.translation import gettext as _

SCOPES = ("read", "submit", "moderate")
LONGEST_DAYS = 366
MOST_TOKENS = 20
PREFIX = "bq_"  # lets a leaked token be recognised as one


@transaction.atomic
def token_make(*, by: User, name: str, scopes: Iterable[str], days: int = 90) -> tuple[ApiToken, str]:
    """The token's record and its secret, which nobody can look up again.

    scopes: of read, submit, moderate; days: how long it works.  Raises RegistryErrors, PermissionDenied.
    """
    require(by, "make_token")
    wanted = sorted(set(scopes))
    _check(by, name.strip(), wanted, days)
    if "moderate" in wanted:
        require(by, "moderate")
    token, secret = ApiToken.objects.create(
        user=by, expiry=timedelta(days=days), prefix=PREFIX, name=name.strip(), scopes=wanted
    )
    record(by=by, action="token_make", target_kind="token", target_uuid=None, scopes=wanted, days=days)
    return token, secret


@transaction.atomic
def token_revoke(*, by: User, key: str) -> bool:
    """Ends one's own token, named by its first signs (`token_key`); False where there is none such."""
    require(by, "make_token")
    gone, _each = ApiToken.objects.filter(user=by, token_key=key).delete()
    if gone:
        record(by=by, action="token_revoke", target_kind="token", target_uuid=None)
    return bool(gone)


def token_used(*, token: ApiToken) -> None:
    """Note that a token is alive, so that its owner can tell a forgotten one."""
    ApiToken.objects.filter(pk=token.pk).update(last_used_at=timezone.now())


def _check(by: User, name: str, scopes: list[str], days: int) -> None:
    wrong = []
    if not name or len(name) > 80 or not name.isprintable():
        wrong.append(
            RegistryError(
                "token_name", _("A token needs a name."), _("Say what it is for, in 80 signs."), field="/name"
            )
        )
    if not scopes or not set(scopes) <= set(SCOPES):
        wrong.append(
            RegistryError(
                "token_scopes",
                _("A token needs to know what it may do."),
                _("Choose of: {words}.").format(words=", ".join(SCOPES)),
                field="/scopes",
            )
        )
    if not 1 <= days <= LONGEST_DAYS:
        wrong.append(
            RegistryError(
                "token_days",
                _("A token ends some day."),
                _("Give 1 to {n} days.").format(n=LONGEST_DAYS),
                field="/days",
            )
        )
    if ApiToken.objects.filter(user=by).count() >= MOST_TOKENS:
        wrong.append(
            RegistryError(
                "too_many_tokens",
                _("You have {n} tokens.").format(n=MOST_TOKENS),
                _("Revoke one that you don't need."),
            )
        )
    if wrong:
        raise RegistryErrors(wrong)
