"""One-time codes of an app are taken once.

The accounts' package marks them in the cache: in its default each server process has one of its own, and a
shared one may be away.  Whoever looked over a shoulder would try there; so the database keeps the marks.
"""

from __future__ import annotations

import hashlib
import hmac
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.utils import timezone

from registry.models import CodeUsed

KEPT = timedelta(minutes=10)  # no code is good for as long


class UsedCodes:
    """Stands where the package has its cache."""

    def add(self, key: str, value: Any, timeout: float | None = None) -> bool:
        """Whether the key is new; of it a keyed digest is kept."""
        now = timezone.now()
        CodeUsed.objects.filter(at__lt=now - KEPT).delete()
        digest = hmac.new(settings.SECRET_KEY.encode(), key.encode(), hashlib.sha256).hexdigest()
        try:
            with transaction.atomic():
                CodeUsed.objects.create(digest=digest, at=now)
        except IntegrityError:
            return False
        return True
