"""`120,000` is 120 or 120000: refused wherever a number is typed, as a reading of that form is."""

from __future__ import annotations

from typing import Any

import pytest

from registry.pages.life_form import LifeForm
from registry.pages.preferences import to_km
from registry.pages.sheet_form import kilometres
from registry.services.fields import Fields


@pytest.mark.parametrize("typed", ["120,000", " 1,200 ", "999,999", "-1,200"])
def test_a_comma_that_may_stand_for_thousands_is_refused(typed: str) -> None:
    fields = Fields({"distance_km": typed})
    assert fields.number("distance_km", None) is None
    assert [(error.field, error.code) for error in fields.errors] == [("/distance_km", "number_ambiguous")]


@pytest.mark.parametrize(
    ("typed", "figure"),
    [("84000,5", 84000.5), ("0,125", 0.125), ("1,20", 1.2), ("120.5", 120.5), (7, 7.0), ("1200,500", 1200.5)],
)
def test_a_decimal_comma_is_as_good_as_a_point(typed: Any, figure: float) -> None:
    fields = Fields({"distance_km": typed})
    assert (fields.number("distance_km", None), fields.errors) == (figure, [])


@pytest.mark.parametrize("typed", ["much", True, "120,000.5", [1]])
def test_what_is_no_number_is_said_to_be_none(typed: Any) -> None:
    fields = Fields({"distance_km": typed})
    assert fields.number("distance_km", None) is None
    assert [error.code for error in fields.errors] == ["not_a_number"]


@pytest.mark.parametrize("unit", ["km", "mi"])
def test_the_pages_hand_it_on_as_typed(unit: str) -> None:
    assert (to_km("120,000", unit), kilometres("120,000", unit)) == ("120,000", "120,000")


def test_the_form_about_lives_refuses_it_too() -> None:
    form = LifeForm({"at": "120,000", "next": "20000,5"})
    assert list(form.errors) == ["at"]
    assert "120000" in str(form.errors["at"])
