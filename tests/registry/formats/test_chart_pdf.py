"""The print of a chart: the same bytes each time, every label of it, however large or strange the chart."""

from __future__ import annotations

from typing import Any

import pytest

from registry.formats.chart_pdf import ACROSS, chart_pdf


def chart(
    pins: int = 4, positions: tuple[str, ...] = ("P", "R", "N"), name: str = "Sweeper"
) -> dict[str, Any]:
    states = ["open", "closed", "resistive", None]
    standings = ["agreed", "provisional", "disputed", "thin", "unread"]
    cells = [
        {
            "position": position,
            "pin": str(pin),
            "against": "1",
            "between": between,
            "state": states[(n + pin) % 4],
            "standing": standings[(n + pin) % 5],
            "units": pin,
            "agreeing": pin,
            "ohm": {"typical": 470.0, "accept": [1, 2]},
        }
        for n, position in enumerate(positions)
        for between in (False, True)
        for pin in range(2, pins + 1)
    ]
    variant = {"variant": "a", "units": 5, "contributors": 3, "cells": cells}
    design = {"name": name, "positions": list(positions), "uuid": "00000000-0000-4000-8000-000000000000"}
    return {"design": design, "variants": [variant]}


def pages(made: bytes) -> int:
    return made.count(b"/Type /Page\n")


def test_the_same_chart_gives_the_same_bytes() -> None:
    made = chart_pdf(chart(), revision=3, state="published")
    assert made.startswith(b"%PDF-") and pages(made) == 1
    assert made == chart_pdf(chart(), revision=3, state="published")
    assert made != chart_pdf(chart(), revision=3, state="withdrawn")


@pytest.mark.parametrize(("pins", "count"), [(ACROSS + 1, 1), (ACROSS + 2, 2), (3 * ACROSS, 3)])
def test_a_wide_connector_goes_on_the_next_page(pins: int, count: int) -> None:
    assert pages(chart_pdf(chart(pins), revision=1, state="published")) == count


def test_a_long_travel_and_strange_labels_do_no_harm() -> None:
    labels = tuple(f"{sign}{n}" for n in range(10) for sign in "PÄ→\u200bΩ")
    assert pages(chart_pdf(chart(3, labels, "a\u0000b\n" * 60), revision=1, state="published")) > 5
    empty = {"design": chart()["design"], "variants": []}
    assert pages(chart_pdf(empty, revision=1, state="published")) == 1
