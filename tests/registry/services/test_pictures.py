from __future__ import annotations

import io

import pytest
from django.core.exceptions import PermissionDenied
from PIL import Image

from registry.errors import RegistryErrors
from registry.services.catalogue import design_propose
from registry.services.pictures import picture_add, reencoded
from registry.services.sheets import sheet_submit
from tests.registry.services.test_sheets import DESIGN, account, sheet_json

GPS_IFD, LATITUDE = 0x8825, 2


def photo(size: tuple[int, int] = (300, 200), colour: str = "teal", **save: object) -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    exif.get_ifd(GPS_IFD)[LATITUDE] = (52.0, 30.0, 0.0)
    exif[0x0112] = 6  # turned a quarter
    Image.new("RGB", size, colour).save(out, "JPEG", exif=exif, **save)
    return out.getvalue()


def test_position_data_and_all_else_are_removed():
    before = Image.open(io.BytesIO(photo())).getexif()
    assert before.get_ifd(GPS_IFD)
    after = Image.open(io.BytesIO(reencoded(photo())))
    assert not dict(after.getexif()) and after.size == (200, 300)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "picture_unreadable"),
        (b"GIF89a" + b"\0" * 100, "picture_unreadable"),
        (photo()[:400], "picture_unreadable"),
        (b"\xff\xd8" + b"\0" * 12_000_001, "picture_too_large"),
    ],
)
def test_what_is_no_picture_is_refused(data, code):
    with pytest.raises(RegistryErrors) as caught:
        reencoded(data)
    assert [error.code for error in caught.value] == [code]


def test_picture_of_too_many_pixels_is_refused():
    out = io.BytesIO()
    Image.new("1", (10_000, 10_000)).save(out, "PNG")  # a few kB that would unpack to 300 MB
    with pytest.raises(RegistryErrors, match="too many pixels"):
        reencoded(out.getvalue())


@pytest.mark.django_db
def test_fifth_picture_is_refused():
    design_propose(by=account("proposer"), body=DESIGN)
    reader = account("reader")
    sheet = sheet_submit(by=reader, body=sheet_json())

    def add(colour):
        return picture_add(by=reader, sheet=sheet, upload=io.BytesIO(photo(colour=colour)))

    assert [add(colour).order for colour in ("teal", "navy", "olive", "teal", "gray")] == [1, 2, 3, 1, 4]
    with pytest.raises(RegistryErrors, match="four pictures"):
        add("white")
    assert sheet.pictures.count() == 4  # the same picture sent again is the one that is there
    with pytest.raises(PermissionDenied):
        picture_add(by=account("other"), sheet=sheet, upload=io.BytesIO(photo()))
