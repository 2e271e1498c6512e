"""Bench sheets: send, look at, amend, withdraw, bring back."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse
from rest_framework.request import Request
from rest_framework.response import Response

from api.description import sheet_examples
from api.description import sheets as shapes
from api.description.operations import IDEMPOTENCY_KEY, IF_MATCH, described
from api.description.work import LINE as WORK_LINE
from api.filters import OwnSheetFilter
from api.idempotency import once
from api.pagination import NewestFirst
from api.permissions import OPEN, SIGNED_IN, SUBMIT
from api.problems import Failure, problem_of_errors
from api.serializers.sheets import OwnSheetLine, SheetFull, sheet_full
from api.serializers.work import WorkLine
from api.versions import body_to_amend, etag_of, match_required, reason_given, version_named
from api.views.base import ApiView, ListView, person
from api.views.work import work_asked
from registry.models import Sheet, Work
from registry.permissions import is_moderator, owns_sheet
from registry.selectors.api_sheets import sheet_for_api, sheets_of_account
from registry.services.receipts import Receipt
from registry.services.sheet_bulk import Taken, sheets_submit, under
from registry.services.sheets import sheet_amend, sheet_restore, sheet_take, sheet_withdraw
from registry.translation import gettext as _

PREFER = OpenApiParameter(
    "Prefer", {"type": "string"}, OpenApiParameter.HEADER,
    description="`respond-async`: do it after the answer; anything else is passed over",
)  # fmt: skip
WORK_EXAMPLE = OpenApiExample("Kept", value={**WORK_LINE, "kind": "bulk", "state": "waiting", "answer": None})


class Submissions(ListView):
    rules = {"GET": SIGNED_IN, "POST": SUBMIT}
    pagination_class = NewestFirst
    filterset_class = OwnSheetFilter
    serializer_class = OwnSheetLine

    @described(
        "submissions_list", answer=OwnSheetLine, example=sheet_examples.OWN_LINE, page=True, refuses=[403]
    )
    def get(self, request: Request) -> Response:
        """Your own sheets, newest first, withdrawn ones too."""
        return _private(self.page(request, sheets_of_account(person(request))))

    @described(
        "submissions_send",
        answer=SheetFull,
        example=sheet_examples.SHEET_EXAMPLE,
        status=201,
        body=shapes.SHEET,
        body_example=sheet_examples.SHEET_BODY,
        parameters=[IDEMPOTENCY_KEY],
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Send a bench sheet.  The same `client_id` again gets the first answer, with status 200."""

        def act() -> Response:
            receipt = sheet_take(by=person(request), body=request.data)
            response = _receipt(request, receipt)
            response["Location"] = request.build_absolute_uri(f"/api/v1/submissions/{receipt.sheet.uuid}/")
            return response

        return once(request, act)


class OneSubmission(ApiView):
    rules = {"GET": OPEN, "PUT": SUBMIT, "PATCH": SUBMIT}

    @described("submissions_retrieve", answer=SheetFull, example=sheet_examples.SHEET_EXAMPLE, refuses=[410])
    def get(self, request: Request, submission: uuid.UUID) -> Response:
        """A sheet with its readings as typed, under its contributor's pseudonym."""
        return _shown(request, submission)

    @described(
        "submissions_amend",
        answer=SheetFull,
        example=sheet_examples.SHEET_EXAMPLE,
        body=shapes.AMEND,
        body_example=sheet_examples.AMEND_BODY,
        parameters=[IF_MATCH],
        refuses=[412, 428],
    )
    def put(self, request: Request, submission: uuid.UUID) -> Response:
        """Amend a sheet: a new version in place of the one that you name; the old one stays."""
        return self._amend(request, submission, merge=False)

    @described(
        "submissions_patch",
        answer=SheetFull,
        example=sheet_examples.SHEET_EXAMPLE,
        body=shapes.PATCH,
        body_example=sheet_examples.PATCH_BODY,
        parameters=[IF_MATCH],
        refuses=[412, 428],
    )
    def patch(self, request: Request, submission: uuid.UUID) -> Response:
        """Amend some fields; those that you leave out stay.  A list that you send replaces the whole list."""
        return self._amend(request, submission, merge=True)

    def _amend(self, request: Request, submission: uuid.UUID, *, merge: bool) -> Response:
        sheet = _sheet(submission)
        on_version = version_named(request, sheet)
        body, reason = body_to_amend(request.data, sheet, merge=merge)
        sheet_amend(
            by=person(request),
            sheet=sheet,
            on_version=on_version,
            body=body,
            reason=reason,
            still=_as_seen(request),
        )
        return _shown(request, submission)


class Withdrawal(ApiView):
    rules = {"POST": SUBMIT}

    @described(
        "submissions_withdraw",
        answer=SheetFull,
        example=sheet_examples.SHEET_EXAMPLE,
        body=shapes.REASON,
        body_example={"reason": "the unit turned out to be faulty"},
        parameters=[IF_MATCH],
        refuses=[412],
    )
    def post(self, request: Request, submission: uuid.UUID) -> Response:
        """Take your sheet out of the consensus.  It can be brought back."""
        reason = reason_given(request.data)
        sheet = _sheet(submission)
        sheet_withdraw(by=person(request), sheet=sheet, reason=reason, still=_as_seen(request))
        return _shown(request, submission)


class Restoration(ApiView):
    rules = {"POST": SUBMIT}

    @described(
        "submissions_restore",
        answer=SheetFull,
        example=sheet_examples.SHEET_EXAMPLE,
        parameters=[IF_MATCH],
        refuses=[403, 412],
    )
    def post(self, request: Request, submission: uuid.UUID) -> Response:
        """Bring back a sheet that you had withdrawn."""
        sheet_restore(by=person(request), sheet=_sheet(submission), still=_as_seen(request))
        return _shown(request, submission)


class Bulk(ApiView):
    rules = {"POST": SUBMIT}
    cost = 20

    @described(
        "submissions_bulk",
        answer=shapes.BULK_ANSWER,
        example=sheet_examples.BULK_EXAMPLE,
        body=shapes.BULK,
        body_example={"submissions": [sheet_examples.SHEET_BODY]},
        parameters=[IDEMPOTENCY_KEY, PREFER],
        also={202: OpenApiResponse(WorkLine, "Kept, to be done.", examples=[WORK_EXAMPLE])},
    )
    def post(self, request: Request) -> Response | HttpResponse:
        """Send up to 5 000 sheets.  Each is taken or refused by itself; `results` says which and why.

        With `Prefer: respond-async` (RFC 7240) they are taken after the answer, which says where to ask.
        """

        def act() -> Response:
            if "respond-async" in request.headers.get("Prefer", ""):
                response = work_asked(request, Work.Kind.BULK, request.data)
                response["Preference-Applied"] = "respond-async"
                return response
            bodies = request.data.get("submissions") if isinstance(request.data, dict) else None
            taken = sheets_submit(by=person(request), bodies=bodies)
            results = [_item(n, one) for n, one in enumerate(taken)]
            return Response(
                {
                    "stored": sum(one.new for one in taken),
                    "known": sum(one.sheet is not None and not one.new for one in taken),
                    "refused": sum(one.sheet is None for one in taken),
                    "results": results,
                }
            )

        return once(request, act)


def _item(n: int, taken: Taken) -> dict[str, Any]:
    if taken.sheet is not None:
        status = 201 if taken.new else 200
        return {"index": n, "status": status, "submission": str(taken.sheet), "problem": None}
    found = problem_of_errors(list(under(taken, f"/submissions/{n}").errors))
    return {"index": n, "status": found["status"], "submission": None, "problem": found}


def _sheet(submission: uuid.UUID) -> Sheet:
    sheet = sheet_for_api(submission)
    if sheet is None:
        raise Http404
    return sheet


def _as_seen(request: Request) -> Callable[[Sheet], None]:
    """Raises where If-Match names another version of the sheet."""
    return lambda sheet: match_required(request, lambda: etag_of(_sheet(sheet.uuid)))


def _shown(request: Request, submission: uuid.UUID, *, status: int = 200) -> Response:
    sheet = _sheet(submission)
    own = owns_sheet(request.user, sheet)
    if sheet.withdrawn_at is not None and not own and not is_moderator(request.user):
        raise Failure(410, "withdrawn", _("Its contributor has taken this sheet back."))
    return _document(sheet, own=own, status=status)


def _receipt(request: Request, receipt: Receipt) -> Response:
    if receipt.readings is None:
        return _shown(request, receipt.sheet.uuid, status=201 if receipt.new else 200)
    return _document(receipt.sheet, own=True, status=201, readings=receipt.readings)


def _document(
    sheet: Sheet, *, own: bool, status: int, readings: list[dict[str, Any]] | None = None
) -> Response:
    response = Response(sheet_full(sheet, own=own, readings=readings), status=status)
    response["ETag"] = etag_of(sheet)
    return _private(response)


def _private(response: Response) -> Response:
    response["Cache-Control"] = "private, no-store"  # its contributor sees more than others
    return response
