"""How much an account may still send today: the limit ramps with its age and with how well it fits.

A sheet, an amendment of one, and a job's outcome count alike; as many jobs may be begun.

A flood from new accounts, from one kept in a drawer, or from one that has slept and was taken over, is slowed
to what people can look at; somebody with a bench full of switches is not kept from work, and sees what is
left.  The age is that of the first sheet: an account that never sent any is new, however old it is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.db.models import Count, F, Max, Min, Q, QuerySet
from django.utils import timezone

from registry.errors import RegistryError, RegistryErrors, refusal
from registry.models import AuditEntry, Contributor, Sheet, SheetFinding, SheetVersion, User
from registry.permissions import is_moderator
from registry.translation import gettext as _

WEEK, MONTH, DORMANT = timedelta(days=7), timedelta(days=30), timedelta(days=180)
DAY = timedelta(days=1)
ONE_GO = timedelta(minutes=1)  # a sheet and its second pass, in a call of thousands too
AFTER_WEEK, AFTER_MONTH, MODERATOR = 3, 15, 50  # times what a new account may
FITTING = ("fits", "slip")
SHEETS_A_DISPUTE = 5  # ten disputes a day of a new account
SHEETS_TO_JUDGE, WELL, BADLY = 5, 0.8, 0.5


@dataclass(frozen=True)
class Allowance:
    """a_day: sheets, amendments and outcomes in 24 hours, None where there is no limit; sent: in the last."""

    a_day: int | None
    sent: int

    @property
    def left(self) -> int | None:
        return None if self.a_day is None else max(0, self.a_day - self.sent)


def sheet_allowance(contributor: Contributor) -> Allowance:
    """Of this account, now."""
    base = settings.BENCHQUORUM_NEW_SHEETS
    if not base or contributor.user is None:
        return Allowance(None, 0)
    if contributor.pk is None:
        return Allowance(base, 0)
    return Allowance(base * _times(contributor.user, contributor), _sent(contributor))


def _sent(contributor: Contributor) -> int:
    first, *others = _moments(contributor)
    return first.union(*others, all=True).count()


def _moments(contributor: Contributor) -> list[QuerySet[Any, Any]]:
    """When each of the last day's sheets, amendments and outcomes was sent."""
    since = timezone.now() - DAY
    amended = SheetVersion.objects.filter(sheet__contributor=contributor, created_at__gt=since, number__gt=1)
    # what was changed once the pattern was shown came with the sheet, and is no amendment
    with_sheet = Q(number=2, pattern_shown=True, created_at__lt=F("sheet__created_at") + ONE_GO)
    amended = amended.exclude(with_sheet)
    outcomes = contributor.jobs.filter(outcome_sent_at__gt=since)
    return [
        contributor.sheets.filter(created_at__gt=since).order_by().values_list("created_at", flat=True),
        amended.order_by().values_list("created_at", flat=True),
        outcomes.order_by().values_list("outcome_sent_at", flat=True),
    ]


def allowance_of(user: User) -> Allowance:
    """For the person's own page; an account that never sent anything has no contributor yet."""
    return sheet_allowance(Contributor.objects.filter(user=user).first() or Contributor(user=user))


def _times(user: User, contributor: Contributor) -> int:
    if is_moderator(user):
        return MODERATOR
    first = contributor.sheets.aggregate(at=Min("created_at"))["at"]
    now = timezone.now()
    age = now - (first or now)
    fit = SheetFinding.objects.filter(sheet__contributor=contributor, sheet__withdrawn_at=None).aggregate(
        judged=Count("pk"), fitting=Count("pk", filter=Q(finding__in=FITTING))
    )
    share = fit["fitting"] / fit["judged"] if fit["judged"] >= SHEETS_TO_JUDGE else None
    asleep = _asleep_since(contributor)
    if age < WEEK or asleep or (share is not None and share < BADLY):
        times = 1
    else:
        times = AFTER_WEEK if age < MONTH else AFTER_MONTH
    return times * 2 if share is not None and share >= WELL and not asleep else times


def _asleep_since(contributor: Contributor) -> bool:
    """Woken within the last week after half a year without a sheet."""
    now = timezone.now()
    recent = contributor.sheets.filter(created_at__gt=now - WEEK)
    earlier = contributor.sheets.filter(created_at__lte=now - WEEK).aggregate(last=Max("created_at"))["last"]
    if earlier is None:
        return False  # new to sending: so is its age
    first = recent.order_by("created_at").values_list("created_at", flat=True).first() or now
    return bool(first - earlier > DORMANT)


def allowance_require(contributor: Contributor, *, sheets: int = 1, done: int = 0) -> None:
    """Raise RegistryErrors unless so many more may be sent; done: already taken in this call."""
    base = settings.BENCHQUORUM_NEW_SHEETS
    if not base or contributor.user_id is None or _sent(contributor) + done + sheets <= base:
        return  # what any account may send, whatever its age and standing
    allowance = sheet_allowance(contributor)
    if allowance.left is not None and done + sheets > allowance.left:
        sent = (moment for moments in _moments(contributor) for moment in moments)
        wait = seconds_until_older(sent, allowance.sent + done + sheets - (allowance.a_day or 0))
        raise RegistryErrors([allowance_used(allowance, wait)])


def jobs_require(contributor: Contributor) -> None:
    """Raise RegistryErrors unless one more job may be begun today."""
    base = settings.BENCHQUORUM_NEW_SHEETS
    times = list(
        contributor.jobs.filter(created_at__gt=timezone.now() - DAY).values_list("created_at", flat=True)
    )
    if not base or len(times) < base:
        return
    a_day = sheet_allowance(contributor).a_day
    if a_day is not None and len(times) >= a_day:
        raise refusal(
            "allowance_used",
            _("This account may begin {a_day} jobs a day for now.").format(a_day=a_day),
            _("Begin the rest tomorrow: the number grows with the account's age and with sheets that fit."),
            wait=seconds_until_older(times, len(times) - a_day + 1),
        )


def disputes_require(user: User) -> None:
    """Raise RegistryErrors unless one more dispute may be opened today: a disputed cell says so at once."""
    a_day = allowance_of(user).a_day
    if a_day is None:
        return
    most = max(1, a_day // SHEETS_A_DISPUTE)
    times = list(
        user.disputes.filter(created_at__gt=timezone.now() - DAY).values_list("created_at", flat=True)
    )
    if len(times) >= most:
        raise refusal(
            "allowance_used",
            _("This account may open {a_day} disputes a day for now.").format(a_day=most),
            _("Where much of a chart is wrong, dispute the design; or go on tomorrow."),
            wait=seconds_until_older(times, len(times) - most + 1),
        )


def restore_require(contributor: Contributor, sheet: Sheet) -> None:
    """Raise RegistryErrors unless the sheet may be brought back today.

    One of an earlier day moves a chart as a new one does: sent and withdrawn day by day, sheets would
    otherwise come back all at once.  One of today has been counted.
    """
    since = timezone.now() - DAY
    user = contributor.user
    if not settings.BENCHQUORUM_NEW_SHEETS or user is None or sheet.created_at > since:
        return
    back = AuditEntry.objects.filter(actor_uuid=user.uuid, action="sheet_restore", at__gt=since)
    times = [*back.values_list("at", flat=True), *(at for sent in _moments(contributor) for at in sent)]
    allowance = Allowance(sheet_allowance(contributor).a_day, len(times))
    if allowance.left == 0:
        wait = seconds_until_older(times, len(times) + 1 - (allowance.a_day or 0))
        raise RegistryErrors([allowance_used(allowance, wait)])


def seconds_until_older(times: Iterable[datetime], n: int) -> float:
    """Until n of the last day's moments are a day old; a whole day where there are not so many."""
    now = timezone.now()
    lately = sorted(at for at in times if at > now - DAY)
    last = lately[n - 1] if n <= len(lately) else now
    return (last + DAY - now).total_seconds()


def allowance_used(allowance: Allowance, wait: float | None = None) -> RegistryError:
    return RegistryError(
        "allowance_used",
        _("This account may send {a_day} sheets a day for now; {left} are left.").format(
            a_day=allowance.a_day, left=allowance.left
        ),
        _("Send the rest tomorrow: the number grows with the account's age and with sheets that fit."),
        wait=wait,
    )
