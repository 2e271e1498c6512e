"""The mixed traffic is mixed as it is said to be."""

from __future__ import annotations

from typing import Any

import pytest

from tests.soak.traffic import Traffic

REQUESTS = 40_000


def test_of_all_requests_95_in_100_read_4_check_and_1_sends() -> None:
    traffic = Traffic(0, ["a design"], ["a token"])
    asked = 0

    def counted(kind: str, *_more: Any) -> bytes:
        nonlocal asked
        traffic.seconds[kind].append(0.001)
        asked += 1
        if asked >= REQUESTS:
            traffic.ended.set()
        return b""

    traffic.request = counted  # type: ignore[method-assign]
    traffic.reader(1)
    # four standard deviations of a share of 0.04 in 40 000 are 0.004
    assert traffic.shares() == pytest.approx({"read": 0.95, "check": 0.04, "sheet": 0.01}, abs=0.004)
