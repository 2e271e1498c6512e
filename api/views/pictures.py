"""Pictures of one's own sheet: send, list, take away."""

from __future__ import annotations

import base64
import binascii
import contextlib
import io
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from api.description.bodies import record
from api.description.charts import COUNT, many, thing
from api.description.operations import described
from api.permissions import SIGNED_IN, SUBMIT
from api.views.base import ApiView, person
from registry.errors import RegistryErrors
from registry.models import Sheet, SheetPicture
from registry.permissions import require
from registry.selectors.api_sheets import sheet_for_api
from registry.services.fields import Fields
from registry.services.pictures import picture_add, picture_remove
from registry.translation import gettext as _

PICTURE = thing(
    picture={"type": "string", "format": "uuid"}, order=COUNT, at={"type": "string", "format": "date-time"}
)
LIST = thing(results=many(PICTURE))
BODY = record(
    ["picture"],
    picture={
        "type": "string",
        "contentEncoding": "base64",
        "minLength": 1,
        "description": "JPEG, PNG or WebP, as base64",
    },
)
SMALLEST_PNG = (
    "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAAAAABX3VL4AAAADklEQVR42mM8wcDEwAAAA/oAzJ1i2jMAAAAASUVORK5CYII="
)
EXAMPLE: dict[str, Any] = {
    "picture": "5d1f6a0e-3c1c-4f5e-9a4d-0b6d2f1c8e77",
    "order": 1,
    "at": "2026-11-20T09:30:00Z",
}


class Pictures(ApiView):
    rules = {"GET": SIGNED_IN, "POST": SUBMIT}
    cost = 5

    @described("pictures_list", answer=LIST, example={"results": [EXAMPLE]}, refuses=[403])
    def get(self, request: Request, submission: UUID) -> Response:
        """The pictures of a sheet of yours."""
        sheet = _own_sheet(request, submission)
        return Response({"results": [_plain(picture) for picture in sheet.pictures.order_by("order")]})

    @described(
        "pictures_add",
        answer=PICTURE,
        example=EXAMPLE,
        status=201,
        body=BODY,
        body_example={"picture": SMALLEST_PNG},
    )
    def post(self, request: Request, submission: UUID) -> Response:
        """Add a picture, of four at most.  It is encoded anew, without position data."""
        sheet = _own_sheet(request, submission)
        fields = Fields(request.data)
        text, data = fields.body.get("picture"), b""
        with contextlib.suppress(binascii.Error, ValueError):
            data = base64.b64decode(text, validate=True) if isinstance(text, str) else b""
        if not data and not fields.errors:
            fields.wrong("picture", "unreadable", _("This is no base64."), _("Send the file's bytes so."))
        fields.raise_all()
        try:
            picture = picture_add(by=person(request), sheet=sheet, upload=io.BytesIO(data))
        except RegistryErrors as errors:
            raise RegistryErrors([error.at(field="/picture") for error in errors]) from None
        return Response(_plain(picture), status=201)


class OnePicture(ApiView):
    rules = {"DELETE": SUBMIT}

    @described("pictures_remove", answer=None, example=None, status=204, refuses=[403])
    def delete(self, request: Request, submission: UUID, picture: UUID) -> HttpResponse:
        """Take a picture away; its file is deleted."""
        found = get_object_or_404(_own_sheet(request, submission).pictures, uuid=picture)
        picture_remove(by=person(request), picture=found)
        return HttpResponse(status=204)


def _own_sheet(request: Request, uuid: UUID) -> Sheet:
    """Pictures may show a place or a person: others learn not even whether there are any."""
    sheet = sheet_for_api(uuid)
    if sheet is None:
        raise Http404
    require(person(request), "add_picture", sheet)
    return sheet


def _plain(picture: SheetPicture) -> dict[str, Any]:
    return {
        "picture": str(picture.uuid),
        "order": picture.order,
        "at": picture.created_at.isoformat().replace("+00:00", "Z"),
    }
