"""The elements of an XML document one after the other.  None is kept: ten million empty ones are a GB."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any


class TooManyElements(Exception):
    """There are more than anything that is meant well has."""


def elements(content: bytes, most: int) -> Iterator[tuple[str, dict[str, str]]]:
    """(name without its namespace, attributes) of each, where it ends.

    Raises TooManyElements; and of `defusedxml` ParseError, DefusedXmlException.
    """
    from defusedxml.ElementTree import iterparse

    count = 0
    around: list[Any] = []
    for event, element in iterparse(io.BytesIO(content), events=("start", "end"), forbid_dtd=True):
        if event == "start":
            count += 1
            if count > most:
                raise TooManyElements
            around.append(element)
            continue
        yield element.tag.rpartition("}")[2], element.attrib
        around.pop()
        element.clear()
        if around:
            del around[-1][:]  # its parent would keep it, empty as it is
