"""The store that server processes share, while it is away."""

from __future__ import annotations

from typing import Any

from django_redis.cache import RedisCache


class LenientCache(RedisCache):
    """Whoever asks to be the first at something is, where nobody can say: signing in takes such a lock."""

    def add(self, *args: Any, **kwargs: Any) -> bool:
        answer = super().add(*args, **kwargs)
        return answer is None or bool(answer)
