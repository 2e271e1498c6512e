"""What is typed into a job's forms."""

from __future__ import annotations

import io
from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from registry.models import Design
from tests.registry.pages.made import CLOSED, PINS, reading_of
from tests.registry.services.jobs.made import READY


def grid(**changed: str) -> dict[str, str]:
    """Every field of the sheet's grid filled."""
    return {
        f"r-{step}-{n}-1-1-0": changed.get(f"{position}{pin}", reading_of(position, pin))
        for step, position in enumerate(CLOSED, start=1)
        for n, pin in enumerate(PINS[1:], start=2)
    }


def tried(design: Design, **changed: str) -> dict[str, Any]:
    fields: dict[str, Any] = {"ready": READY, "codes": "none"}
    for position in design.positions.all():
        fields[f"s-{position.step}"] = changed.get(
            position.label, "turned" if position.releases_starter else "silent"
        )
        fields[f"o-{position.step}"] = fields[f"b-{position.step}"] = "yes"
    return fields


def whole(answer: Any) -> bytes:
    """All of an answer; closing it whole would end the test's connection."""
    if not answer.streaming:
        return bytes(answer.content)
    read = b"".join(answer.streaming_content)
    for close in answer._resource_closers:
        close()
    return read


def photo() -> SimpleUploadedFile:
    """With a place in it, as a phone makes one."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (51.0, 28.0, 40.0)}
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "gray").save(file, "JPEG", exif=exif)
    return SimpleUploadedFile("lever.jpg", file.getvalue(), "image/jpeg")
