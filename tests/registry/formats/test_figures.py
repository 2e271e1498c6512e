"""Figures as people read them."""

from __future__ import annotations

import pytest

from registry.formats.figures import cell_text, interval_text, listed, ohm_text, p_text, share_text


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (1.0, "p > 0.99"),
        (0.9951, "p > 0.99"),
        (0.994, "p = 0.99"),
        (0.5, "p = 0.50"),
        (0.001, "p < 0.01"),
        (0, "p < 0.01"),
    ],
)
def test_a_probability_is_never_said_to_be_certain(p: float, text: str) -> None:
    assert p_text(p) == text


@pytest.mark.parametrize(
    ("share", "text"), [(0, "0 %"), (0.001, "< 1 %"), (0.397, "40 %"), (0.997, "> 99 %"), (1, "100 %")]
)
def test_a_share_is_whole_per_cent(share: float, text: str) -> None:
    assert share_text(share) == text


@pytest.mark.parametrize(
    ("ohm", "text"),
    [
        (0, "0 Ω"), (0.004, "0 Ω"), (0.41, "0.41 Ω"), (9.999, "10 Ω"), (12.34, "12.3 Ω"), (47, "47 Ω"),
        (180, "180 Ω"),
        (999.6, "1 kΩ"), (3900, "3.9 kΩ"), (12_000, "12 kΩ"), (2.2e6, "2.2 MΩ"), (2e7, "20 MΩ"),
    ],
)  # fmt: skip
def test_a_resistance_is_said_as_a_meter_shows_it(ohm: float, text: str) -> None:
    assert ohm_text(ohm) == text


def test_a_cell_is_pin_and_position() -> None:
    assert cell_text({"position": "R", "pin": "1", "against": "4"}, common="1") == "pin 4 in R"
    assert (
        cell_text({"position": "R", "pin": "2", "against": "4", "between": True}, "1")
        == "pin 2 against 4 behind R"
    )


def test_a_list_that_is_one_longer_than_it_may_be_is_said_whole() -> None:
    assert listed(["1", "2", "3", "4"]) == "1, 2, 3 and 4"
    assert listed(["1", "2", "3", "4", "5"]) == "1, 2, 3 and 2 more"
    assert listed([]) == ""


def test_an_interval_is_said_from_low_to_high() -> None:
    assert interval_text([0.72, 1.0]) == "72 % to 100 %"
