"""Who is told of what: a notice on their own page at once, one mail for all of them with the next round."""

from __future__ import annotations

from collections import defaultdict
from functools import partial
from typing import Any

from django.conf import settings
from django.core import signing
from django.core.mail import EmailMessage
from django.urls import reverse
from django.utils import timezone, translation

from registry.formats.notice_words import notice_sentence
from registry.models import Notice, User
from registry.services.one_by_one import OneByOne
from registry.translation import gettext as _

SALT = "benchquorum.mail"


def notify(user: User | None, code: str, **params: Any) -> Notice | None:
    """params: ids, labels and days that the sentence needs; nobody there to be told: None."""
    if user is None or not user.is_active:
        return None
    return Notice.objects.create(user=user, code=code, params=params)


def notices_mail() -> int:
    """One mail to each person with something unread and unsent; how many were sent.

    Each person's notices are marked in the transaction in which the mail is written down: one that fails is
    tried with the next round, and nobody else's is kept back by it.  Raises SomeFailed, after all of them.
    """
    waiting: dict[int, list[int]] = defaultdict(list)
    owed = Notice.objects.filter(mailed_at=None, read_at=None, user__wants_mail=True, user__is_active=True)
    for pk, user in owed.order_by("pk").values_list("pk", "user_id"):
        waiting[user].append(pk)
    mails = OneByOne("mails of notices")
    for user, notices in waiting.items():
        mails.run(partial(_mail_one, user, notices))
    return mails.end()


def _mail_one(user_id: int, notices: list[int]) -> bool:
    user = User.objects.select_for_update(no_key=True).get(pk=user_id)
    rows = list(Notice.objects.filter(pk__in=notices, mailed_at=None).order_by("pk"))
    if not rows:
        return False
    with translation.override(user.language or settings.LANGUAGE_CODE):
        stop = stop_address(user)
        lines = [f"- {notice_sentence(notice.code, notice.params)}" for notice in rows]
        ending = _("To have no more mail: {address}").format(address=stop)
        mail = EmailMessage(
            subject=_("Benchquorum: what concerns your sheets and patterns"),
            body="\n".join([*lines, "", ending]),
            to=[user.email],
            headers={"List-Unsubscribe": f"<{stop}>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"},
        )
        Notice.objects.filter(pk__in=[row.pk for row in rows]).update(mailed_at=timezone.now())
        mail.send()
    return True


def stop_address(user: User) -> str:
    """The address that ends the mail, without signing in."""
    site = settings.CSRF_TRUSTED_ORIGINS[0] if settings.CSRF_TRUSTED_ORIGINS else ""  # our own public address
    return site + reverse("mail_stop", args=[signing.dumps(str(user.uuid), salt=SALT)])


def mail_stop(*, token: str) -> bool:
    """One click ends the mail; False where the link is not ours."""
    try:
        uuid = signing.loads(token, salt=SALT)
    except signing.BadSignature:
        return False
    return User.objects.filter(uuid=uuid).update(wants_mail=False) == 1


def mail_again(*, by: User) -> None:
    User.objects.filter(pk=by.pk).update(wants_mail=True)


def notices_read(*, by: User) -> int:
    """All that the person has seen on their page."""
    return Notice.objects.filter(user=by, read_at=None).update(read_at=timezone.now())
