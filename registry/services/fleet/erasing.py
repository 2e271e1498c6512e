"""What becomes of a fleet when the account of a member is erased."""

from __future__ import annotations

from registry.models import Membership, Organisation, User


def fleets_leave(user: User) -> None:
    """A fleet of nobody else goes with all its vehicles; where it was the last owner, the next member is one.

    What the registry heard of its units stays, under the pseudonym and without any vehicle.
    """
    own = Organisation.objects.filter(memberships__user=user).order_by("pk")
    for organisation in own.select_for_update(of=("self",), no_key=True):
        others = organisation.memberships.exclude(user=user).order_by("pk")
        heir = others.filter(role=Membership.Role.WORKER).first() or others.first()
        if heir is None:
            organisation.delete()
        elif not others.filter(role=Membership.Role.OWNER).exists():
            heir.role = Membership.Role.OWNER
            heir.save(update_fields=["role"])
