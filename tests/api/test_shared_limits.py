"""With a shared store the server's processes count one caller's requests together."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid

import pytest
from django.conf import settings
from django.core.cache import cache

from api.throttles import Policy, Spent, take

STORE = "rediscache://127.0.0.1:6379/9"
ASK = """
import sys, django
django.setup()
from api.throttles import Policy, take
print(take(Policy("test", 4, 3600), sys.argv[1]).remaining)
"""


def answers() -> bool:
    import redis

    try:
        return bool(redis.Redis(socket_connect_timeout=1).ping())
    except redis.exceptions.RedisError:
        return False


@pytest.mark.skipif(not answers(), reason="no Redis answers at 127.0.0.1:6379")
def test_two_processes_take_from_one_allowance() -> None:
    surroundings = {**os.environ, "BENCHQUORUM_CACHE": STORE, "DJANGO_SETTINGS_MODULE": "registry.settings"}
    key = f"test-{uuid.uuid4()}"
    left = [
        int(subprocess.run([sys.executable, "-c", ASK, key], env=surroundings, cwd=settings.BASE_DIR,
                           capture_output=True, text=True, check=True).stdout)
        for _ in range(2)
    ]  # fmt: skip
    assert left == [3, 2]


def test_one_process_counts_by_itself_without_a_store() -> None:
    policy, key = Policy("test", 1, 3600), f"test-{uuid.uuid4()}"
    take(policy, key)
    with pytest.raises(Spent):
        take(policy, key)
    cache.delete(key)


def test_a_thousand_other_callers_give_nobody_a_new_allowance() -> None:
    """In the framework's default, memory has room for 300."""
    policy, key = Policy("test", 1, 3600), f"test-{uuid.uuid4()}"
    others = [f"{key}-{n}" for n in range(1000)]
    take(policy, key)
    for other in others:
        take(policy, other)
    with pytest.raises(Spent):
        take(policy, key)
    cache.delete_many([key, *others])


AWAY = """
import logging, django
logging.basicConfig()
django.setup()
from django.core.cache import cache
from api.throttles import Policy, take
left = [take(Policy("test", 1, 3600), "x").remaining for _ in range(3)]
print(left, cache.get("y", 7), cache.set("y", 1), cache.add("z", 1))
"""


def test_while_the_store_is_away_nobody_is_stopped() -> None:
    surroundings = {
        **os.environ,
        "BENCHQUORUM_CACHE": "rediscache://127.0.0.1:9/1",  # nothing listens there
        "DJANGO_SETTINGS_MODULE": "registry.settings",
    }
    asked = subprocess.run([sys.executable, "-c", AWAY], env=surroundings, cwd=settings.BASE_DIR,
                           capture_output=True, text=True, check=True)  # fmt: skip
    assert asked.stdout.startswith("[0, 0, 0] 7 ") and asked.stdout.endswith(" True\n")
    assert "ConnectionInterrupted" in asked.stderr
