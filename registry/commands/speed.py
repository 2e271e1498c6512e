"""A command that reads a million lines makes millions of objects, and none of them in a circle."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def all_for_speed() -> Iterator[None]:
    """Without the search for circular garbage: a fifth of the time of a long file."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
