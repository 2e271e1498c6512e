"""Pictures of a sheet: up to four, re-encoded on arrival so that no position data or hidden part survives."""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from PIL import ExifTags, Image, UnidentifiedImageError

from registry.errors import refusal
from registry.models import JobPicture, Sheet, SheetPicture, User
from registry.permissions import require
from registry.services.audit import record
from registry.translation import gettext as _

PICTURES = "/pictures"  # the field that an error points to
MOST_PICTURES = 4
MOST_BYTES = 12_000_000
MOST_PIXELS = 24_000_000  # 100 MB while it is decoded
MOST_PIXELS_OF_JPEG = 60_000_000  # as telephones make them, where the decoder itself makes it smaller
LONGEST_SIDE = 2000  # pixels kept: enough to read a tag, small enough for a workshop's network
FORMATS = ("JPEG", "PNG", "WEBP")
TURNS = {  # EXIF, tag 274
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_one_at_a_time = threading.Lock()  # in a process: eight at once would be eight times the memory


def picture_add(*, by: User, sheet: Sheet, upload: IO[bytes]) -> SheetPicture:
    """Store a picture of the sheet; RegistryErrors where it is none, too large, or the fifth.

    The same picture again, as a phone sends it whose answer got lost, is the one that is there.
    """
    require(by, "add_picture", sheet)
    encoded = reencoded(upload.read(MOST_BYTES + 1))
    picture = SheetPicture(sheet=sheet)
    with file_goes_with(picture) as name, transaction.atomic():
        sheet = Sheet.objects.select_for_update(no_key=True).get(pk=sheet.pk)
        require(by, "add_picture", sheet)  # the account may have been erased while this was read
        there = list(sheet.pictures.all())
        same = next((picture for picture in there if _content(picture) == encoded), None)
        if same is not None:
            return same
        taken = {picture.order for picture in there}
        order = next((n for n in range(1, MOST_PICTURES + 1) if n not in taken), None)
        if order is None:
            raise refusal(
                "too_many_pictures",
                _("This sheet has four pictures already."),
                _("Remove one first."),
                field=PICTURES,
            )
        picture.order = order
        picture.image.save(name, ContentFile(encoded), save=False)
        picture.save()
        record(by=by, action="picture_add", target_kind="sheet", target_uuid=sheet.uuid)
    return picture


@contextmanager
def file_goes_with(picture: SheetPicture | JobPicture) -> Iterator[str]:
    """The name of the picture's file, of which nothing is left behind where the picture is not stored.

    No row would name it: whoever erases their account could not have it deleted.
    """
    name, field = f"{picture.uuid}.jpg", picture.image.field
    try:
        yield name
    except BaseException:
        field.storage.delete(field.generate_filename(picture, name))
        raise


def _content(picture: SheetPicture) -> bytes:
    """Of the stored file; nothing where it is gone."""
    try:
        with picture.image.open("rb") as file:
            return bytes(file.read())
    except OSError:
        return b""


@transaction.atomic
def picture_remove(*, by: User, picture: SheetPicture) -> None:
    require(by, "add_picture", picture.sheet)
    record(by=by, action="picture_remove", target_kind="sheet", target_uuid=picture.sheet.uuid)
    image = picture.image
    picture.delete()
    transaction.on_commit(lambda: image.delete(save=False))


def reencoded(data: bytes) -> bytes:
    """A plain JPEG of the picture, turned upright, without metadata."""
    if len(data) > MOST_BYTES:
        raise refusal(
            "picture_too_large",
            _("This picture is too large."),
            _("Send one of at most 12 MB."),
            field=PICTURES,
        )
    with _one_at_a_time:
        return _written_anew(data)


def _written_anew(data: bytes) -> bytes:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # of what stands beside the pixels
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = _upright(_made_small(data))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise refusal(
            "picture_too_many_pixels",
            _("This picture has too many pixels."),
            _("Send a smaller one."),
            field=PICTURES,
        ) from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError):
        raise refusal(
            "picture_unreadable",
            _("This is not a picture that can be read."),
            _("Send a JPEG, PNG or WebP file."),
            field=PICTURES,
        ) from None
    upright = image.convert("RGB")
    plain = Image.new("RGB", upright.size)  # a new picture takes over pixels and nothing else
    plain.paste(upright)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()


def _upright(image: Image.Image) -> Image.Image:
    """By what it says of how the camera was held.

    That may be damaged in a hundred ways, each with an error of its own: no reason to refuse the picture.
    """
    try:
        turn = TURNS.get(image.getexif().get(ExifTags.Base.Orientation, 1))
    except Exception:
        turn = None
    return image if turn is None else image.transpose(turn)


def _made_small(data: bytes) -> Image.Image:
    """The picture at the size that is kept, and never much more of it in memory than that takes."""
    image: Image.Image = Image.open(io.BytesIO(data), formats=FORMATS)
    if image.width * image.height > (MOST_PIXELS_OF_JPEG if decoded_small(data) else MOST_PIXELS):
        raise Image.DecompressionBombError
    if image.mode in ("1", "P"):
        image = image.convert("RGB")  # or the reduced picture would be made of single pixels
    image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    image.load()
    return image


def decoded_small(data: bytes) -> bool:
    """Whether it is a JPEG of one scan, of which a reduced picture is decoded line by line.

    One of several scans, as a progressive one is, stands in memory as a whole before its first line is known.
    """
    at, components = 2, 0
    while data.startswith(b"\xff\xd8") and at + 10 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xDA:
            return 0 < components == data[at + 4]
        if marker in (0xC0, 0xC1):
            components = data[at + 9]
        elif 0xC2 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            return False
        at += 1 if marker == 0xFF else 2 + int.from_bytes(data[at + 2 : at + 4])
    return False
