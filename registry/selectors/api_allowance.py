"""How far an account's limits have grown: by its age and by how its sheets fit."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.models import SheetFinding, User

YOUNG, SETTLED = timedelta(days=1), timedelta(days=30)
SHEETS_THAT_FIT = 10


def allowance_factor(user: User) -> float:
    """1 for an account a day old; less before, up to 4 for an old one whose sheets fit."""
    age = timezone.now() - user.date_joined
    if age < YOUNG:
        return 0.5
    factor = 2.0 if age >= SETTLED else 1.0
    fitting = SheetFinding.objects.filter(sheet__contributor__user=user, finding="fits").count()
    return factor * (2.0 if fitting >= SHEETS_THAT_FIT else 1.0)
