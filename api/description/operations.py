"""`described`: one decorator that says of an operation what it takes, gives and can refuse."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers

from api.description.examples import as_text
from api.list_tables import columns_of
from api.problems import CONTENT_TYPE
from api.serializers.problems import Problem

F = TypeVar("F", bound=Callable[..., Any])
_PAGES: dict[str, Any] = {}

REFUSALS = {
    400: "What was sent can't be read, or isn't right; `errors` names every fault.",
    401: "A token, or a session, is needed.",
    403: "This account, or this token, may not do this.",
    404: "There is nothing at this address.",
    405: "This address doesn't know this method.",
    406: "This can't be given in the form asked for.",
    409: "It was changed, or used, in the meantime.",
    410: "It was there and was taken back.",
    412: "It isn't the version that you named any more.",
    413: "Too large to be taken in one go.",
    415: "This address takes JSON.",
    422: "The same Idempotency-Key came with another body.",
    428: "Say which version you change.",
    429: "Too many requests; `Retry-After` says when to come back.",
    500: "Our fault; nothing was changed.",
}
AGAIN = "This was sent before, under the same key; here is the first answer."
ALWAYS = (400, 401, 404, 406, 429)
WITH_BODY = (403, 409, 413, 415, 422)

IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    {"type": "string", "pattern": '^[!#-\\[\\]-~]{1,255}$|^"[!#-\\[\\]-~]{1,253}"$'},
    OpenApiParameter.HEADER,
    description="Made by the client, kept for seven days. The same key with the same body gets the first "
    "answer again; with another body it is an error.",
)


def paged(line: type[serializers.Serializer[Any]]) -> Any:
    """The serializer of one page of such lines."""
    name = f"{line.__name__}Page"
    if name not in _PAGES:
        fields = {
            "next": serializers.CharField(allow_null=True, help_text="Address of the next page"),
            "previous": serializers.CharField(allow_null=True),
            "results": line(many=True),
        }
        _PAGES[name] = type(name, (serializers.Serializer,), {**fields, "__doc__": "One page."})
    return _PAGES[name]


def _as_table(line: type[serializers.Serializer[Any]]) -> OpenApiResponse:
    """The same lines as CSV; `next` is in the Link header."""
    heads = ",".join(columns_of(line()))
    return OpenApiResponse({"type": "string"}, examples=[as_text("Table", "text/csv", f"{heads}\r\n…")])


def described(
    operation: str,
    *,
    answer: Any,
    example: Any,
    status: int = 200,
    page: bool = False,
    body: Any = None,
    body_example: Any = None,
    refuses: Sequence[int] = (),
    parameters: Sequence[OpenApiParameter] = (),
    also: dict[Any, Any] | None = None,
) -> Callable[[F], F]:
    """operation: id, `group_what`; answer: serializer or JSON schema; refuses: statuses beside the usual."""
    shown = {"next": None, "previous": None, "results": [example]} if page else example
    statuses = sorted({*ALWAYS, *(WITH_BODY if body is not None else ()), *refuses})
    problems: dict[Any, OpenApiResponse] = {
        (code, CONTENT_TYPE): OpenApiResponse(Problem, REFUSALS[code]) for code in statuses
    }
    examples = []
    if example is not None:
        examples.append(OpenApiExample("Answer", value=shown, response_only=True, status_codes=[str(status)]))
    if body_example is not None:
        examples.append(OpenApiExample("Body", value=body_example, request_only=True))
    if status == 201 and IDEMPOTENCY_KEY in parameters:
        again = OpenApiResponse(answer, AGAIN, examples=[OpenApiExample("Sent before", value=shown)])
        also = {200: again, **(also or {})}
    if page:
        also = {(200, "text/csv"): _as_table(answer), **(also or {})}
    own: dict[Any, Any] = {status: paged(answer) if page else answer}
    if status == 200:
        own = {} if answer is None else {(200, "application/json"): own[200]}
    problems[414] = OpenApiResponse(None, "The address is too long for the server, which says so itself.")
    responses: dict[Any, Any] = {**own, **(also or {}), **problems}
    return extend_schema(
        operation_id=operation,
        tags=[operation.partition("_")[0]],
        request=body if body is None else {"application/json": body},
        responses=responses,
        examples=examples,
        parameters=list(parameters),
    )


IF_NONE_MATCH = OpenApiParameter(
    "If-None-Match", str, OpenApiParameter.HEADER, description="The ETag of the copy that you have."
)
IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, description="The ETag of the version that you change."
)
