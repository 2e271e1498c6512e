"""Following a design, and asking for a pattern or for one more unit."""

from __future__ import annotations

from django.db import transaction

from registry.models import Design, Follow, User
from registry.permissions import require


@transaction.atomic
def follow(*, by: User, design: Design, wanting: bool = False) -> Follow:
    """Hear when the design's pattern changes beyond its tolerance; wanting: ask for (more of) it, too."""
    require(by, "follow")
    found, _made = Follow.objects.select_for_update(no_key=True).get_or_create(user=by, design=design)
    if wanting and not found.wanting:
        found.wanting = True
        found.save(update_fields=["wanting"])
    return found


@transaction.atomic
def want_no_more(*, by: User, design: Design) -> None:
    """The wish is fulfilled or given up; the design is still followed."""
    Follow.objects.filter(user=by, design=design).update(wanting=False)


@transaction.atomic
def unfollow(*, by: User, design: Design) -> None:
    Follow.objects.filter(user=by, design=design).delete()
