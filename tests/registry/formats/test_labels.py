"""Names that are refused, and the order in which people expect labels."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.errors import RegistryError
from registry.formats.labels import natural_key, parse_label, parse_name


@pytest.mark.parametrize("name", ["A 4.2/x", "M+", "+", "-", "−1", "-2", "Straße", "3-D", "+ up"])
def test_ordinary_names_are_kept(name: str) -> None:
    assert parse_name(f" {name} ") == name


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("", "value_missing"),
        (" \t", "value_missing"),
        ("=1+1", "name_formula"),
        ("@SUM(A1)", "name_formula"),
        ("+1+2", "name_formula"),
        ("-1+cmd|' /C calc'!A0", "name_formula"),
        ("＝1", "name_formula"),
        ("a\x00b", "name_control"),
        ("a\nb", "name_control"),
        ("a\u2028b", "name_control"),
        ("a\ud800", "name_control"),
        ("x" * 201, "name_too_long"),
    ],
)
def test_names_that_harm_or_cannot_be_shown_are_refused(name: str, code: str) -> None:
    with pytest.raises(RegistryError) as refused:
        parse_name(name)
    assert refused.value.code == code


def test_labels_are_short() -> None:
    assert parse_label("x" * 40)
    with pytest.raises(RegistryError):
        parse_label("x" * 41)


def test_labels_sort_as_people_count() -> None:
    assert sorted(["10", "A10", "2", "a2", "B", "1"], key=natural_key) == ["1", "2", "10", "a2", "A10", "B"]


@given(st.lists(st.text(max_size=6)))
def test_any_labels_can_be_sorted(labels: list[str]) -> None:
    assert len(sorted(labels, key=natural_key)) == len(labels)
