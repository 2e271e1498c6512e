"""The one shape of an error."""

from __future__ import annotations

import pytest

from registry.errors import RegistryError, RegistryErrors, pointer


def test_an_error_is_data() -> None:
    error = RegistryError(
        "reading_unreadable", "“x” is not a resistance.", "Write 1.2k.", field="/readings/7/reading"
    )
    assert error.as_dict() == {
        "code": "reading_unreadable",
        "field": "/readings/7/reading",
        "message": "“x” is not a resistance.",
        "advice": "Write 1.2k.",
    }
    assert str(error) == "“x” is not a resistance. Write 1.2k."


def test_an_error_gets_its_place_where_it_is_known() -> None:
    placed = RegistryError("c", "M.", "A.").at(field="/lines/3/pin", line=3, column="pin")
    assert placed.as_dict() == {
        "code": "c", "field": "/lines/3/pin", "message": "M.", "advice": "A.", "line": 3, "column": "pin",
    }  # fmt: skip


def test_all_errors_of_an_input_go_together() -> None:
    errors = RegistryErrors([RegistryError("a", "One."), RegistryError("b", "Two.", "Do.")], more=3)
    assert [error["code"] for error in errors.as_list()] == ["a", "b"]
    assert errors.total == 5
    assert str(errors) == "One.\nTwo. Do."


def test_no_errors_are_no_exception() -> None:
    with pytest.raises(ValueError, match="at least one"):
        RegistryErrors([])


def test_pointers_escape_what_json_pointer_reserves() -> None:
    # RFC 6901, section 5: the keys "a/b" and "m~n" are /a~1b and /m~0n
    assert pointer("a/b") == "/a~1b" and pointer("m~n") == "/m~0n" and pointer() == ""
