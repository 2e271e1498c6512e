"""A document is walked through, not kept."""

from __future__ import annotations

import tracemalloc

import pytest

from registry.formats.xml_elements import TooManyElements, elements


def test_each_element_comes_with_its_attributes_where_it_ends() -> None:
    found = list(elements(b'<a xmlns="urn:x" n="1"><b m="2"/>text<b/></a>', 9))
    assert found == [("b", {"m": "2"}), ("b", {}), ("a", {"n": "1"})]


@pytest.mark.parametrize(
    "document", [b"<a>" + b"<b/>" * 200_000 + b"</a>", b"<a>" + b"<r><c/><c/></r>" * 60_000 + b"</a>"]
)
def test_none_is_kept(document: bytes) -> None:
    tracemalloc.start()
    try:
        count = sum(1 for _ in elements(document, 10**6))
        _now, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert count > 100_000
    assert peak < 3_000_000  # 200 000 empty elements take 11 MB and more


@pytest.mark.parametrize("document", [b"<a>" + b"<b/>" * 10 + b"</a>", b"<a>" * 11 + b"</a>" * 11])
def test_too_many_are_refused(document: bytes) -> None:
    assert len(list(elements(document, 11))) == 11
    with pytest.raises(TooManyElements):
        list(elements(document, 10))
