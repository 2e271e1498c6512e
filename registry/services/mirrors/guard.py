"""A read-only mirror computes nothing and takes nothing in but what comes from the registry it follows."""

from __future__ import annotations

from registry.errors import RegistryError
from registry.selectors.mirrors import mirror_of
from registry.translation import gettext as _


def refuse_on_mirror() -> None:
    url = mirror_of()
    if url is not None:
        raise RegistryError(
            "mirror_read_only",
            _("This registry is a read-only mirror of {url}.").format(url=url),
            _("Do it there, or in an instance of its own."),
        )
