"""Pictures of a sheet: re-encoded on arrival, so that no position data and nothing hidden comes along."""

from __future__ import annotations

import io
import warnings
from typing import Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from PIL import Image, ImageOps, UnidentifiedImageError

from registry.errors import RegistryError, RegistryErrors
from registry.models import Sheet, SheetPicture, User
from registry.permissions import require
from registry.services.audit import record
from registry.translation import gettext as _

MOST_PICTURES = 4
LONGEST_SIDE, QUALITY = 2000, 82
MOST_PIXELS = 80_000_000
FORMATS = ("JPEG", "PNG", "WEBP")


@transaction.atomic
def picture_add(*, by: User, sheet: Sheet, upload: Any) -> SheetPicture:
    """Add a picture to a sheet of one's own.  upload: a file with `read` and `size`; RegistryErrors."""
    require(by, "add_picture", sheet)
    Sheet.objects.select_for_update().get(pk=sheet.pk)
    there = sheet.pictures.count()
    if there >= MOST_PICTURES:
        raise _wrong(
            "too_many_pictures",
            _("This sheet has {n} pictures already.").format(n=there),
            _("Four is the most."),
        )
    content = ContentFile(re_encoded(upload), name=f"{sheet.uuid}-{there + 1}.jpg")
    picture = SheetPicture.objects.create(sheet=sheet, image=content, order=there + 1)
    record(by=by, action="picture_add", target_kind="sheet", target_uuid=sheet.uuid, order=there + 1)
    return picture


def re_encoded(upload: Any) -> bytes:
    """The picture as a plain JPEG: turned upright, no metadata, at most 2000 pixels a side."""
    if upload.size > settings.BENCHQUORUM_UPLOAD_BYTES:
        raise _wrong(
            "picture_too_large",
            _("The picture has {n} MB.").format(n=upload.size // 1_000_000),
            _("Send one below {n} MB.").format(n=settings.BENCHQUORUM_UPLOAD_BYTES // 1_000_000),
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(io.BytesIO(upload.read()), formats=FORMATS)
            if image.width * image.height > MOST_PIXELS:
                raise Image.DecompressionBombError
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _wrong(
            "picture_too_large", _("The picture has too many pixels."), _("Send a smaller one.")
        ) from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError):
        raise _wrong(
            "picture_unreadable", _("This is not a picture that can be read."), _("Send a JPEG, PNG or WebP.")
        ) from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def _wrong(code: str, message: str, advice: str) -> RegistryErrors:
    return RegistryErrors([RegistryError(code, message, advice, field="/pictures")])
