"""What every address of the API has in common."""

from __future__ import annotations

from typing import Any, ClassVar
from urllib.parse import urlsplit, urlunsplit

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.exceptions import APIException, NotAuthenticated
from rest_framework.permissions import BasePermission
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.views import APIView

from api.authentication import Session, TokenAuthentication
from api.description.schema import ApiSchema
from api.filters import ApiFilterSet, StrictFilters
from api.list_tables import CsvList
from api.negotiation import ByWeight
from api.pagination import StablePages, query_names
from api.parsers import StrictJSON, sound_text
from api.permissions import ByRule, Rule
from api.problems import Failure
from api.throttles import Allowance, CallerThrottle
from registry.models import User
from registry.selectors.mirrors import mirror_asked_once
from registry.translation import gettext as _


class ApiView(APIView):
    """Closed by default: `rules` names who may use a method; unknown query parameters are refused."""

    authentication_classes: Any = [TokenAuthentication, Session]
    permission_classes: list[type[BasePermission]] = [ByRule]
    throttle_classes: Any = [CallerThrottle]
    schema = ApiSchema()
    parser_classes: Any = [StrictJSON]
    renderer_classes: Any = [JSONRenderer]
    content_negotiation_class: Any = ByWeight
    rules: ClassVar[dict[str, Rule]] = {}
    query_names: ClassVar[tuple[str, ...]] = ()
    cost: int = 1

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        with mirror_asked_once():  # the rule asks before the view, the service again
            return super().dispatch(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        try:
            super().initial(request, *args, **kwargs)
        except (APIException, PermissionDenied, Failure):
            self._count_refused(request)
            raise
        self._check_query(request)

    def _count_refused(self, request: Request) -> None:
        """Whoever is refused before the allowance is looked at uses it too: no endless trying of tokens."""
        if not hasattr(request._request, "allowance"):
            self.cost = 1  # nothing is done for it
            self.check_throttles(request)

    def finalize_response(
        self, request: HttpRequest | Request, response: HttpResponseBase, *args: Any, **kwargs: Any
    ) -> Any:
        final = super().finalize_response(request, response, *args, **kwargs)  # type: ignore[arg-type]
        plain = request._request if isinstance(request, Request) else request
        allowance: Allowance | None = getattr(plain, "allowance", None)
        if allowance is not None:
            for name, value in allowance.headers().items():
                final[name] = value
        return final

    def known_query(self) -> set[str]:
        return set(self.query_names)

    def _check_query(self, request: Request) -> None:
        known = self.known_query()
        for name, values in request.query_params.lists():
            if name not in known:
                said = ", ".join(sorted(known)) or _("none")
                raise Failure(
                    400,
                    "parameter_unknown",
                    _("There is no parameter “{name}” here. Known are: {known}.").format(
                        name=name.encode("ascii", "backslashreplace").decode()[:40], known=said
                    ),
                )
            if not all(sound_text(value) for value in values):
                raise Failure(
                    400,
                    "unreadable",
                    _("There are characters here that can't be searched for."),
                    parameter=name,
                )
            if len(values) > 1:
                raise Failure(400, "parameter_twice", _("“{name}” is given twice.").format(name=name))


def person(request: Request) -> User:
    """The account that asks; `rules` has let nobody else in."""
    if not isinstance(request.user, User):
        raise NotAuthenticated
    return request.user


class ListView(ApiView):
    """A filtered, paginated list.  rows(): the queryset; serializer_class: one line of it."""

    pagination_class: ClassVar[type[StablePages] | None] = StablePages
    filterset_class: ClassVar[type[ApiFilterSet] | None] = None
    serializer_class: ClassVar[Any] = None
    renderer_classes = [JSONRenderer, CsvList]

    def get_renderers(self) -> Any:
        """A table is for what is read: what is sent to a list's address is answered by one thing."""
        asked = getattr(self, "request", None)
        reads = asked is None or asked.method in ("GET", "HEAD")
        return [one() for one in self.renderer_classes if reads or one is JSONRenderer]

    def known_query(self) -> set[str]:
        names = set(self.query_names) | set(query_names(self.pagination_class))
        return names | set(self.filterset_class.base_filters if self.filterset_class else ())

    def page(self, request: Request, rows: Any, *, at: str = "") -> Any:
        """The answer: one page of the filtered rows.  at: path of the other pages, where it is another."""
        rows = StrictFilters().filter_queryset(request, rows, self)
        assert self.pagination_class is not None
        paginator = self.pagination_class()
        found: Any = paginator.paginate_queryset(rows, request, view=self)
        if at:
            paginator.base_url = urlunsplit(urlsplit(str(paginator.base_url))._replace(path=at))
        lines = self.serializer_class(found, many=True, context={"request": request}).data
        response = paginator.get_paginated_response(lines)
        links = {"next": paginator.get_next_link(), "prev": paginator.get_previous_link()}
        there = [f'<{address}>; rel="{name}"' for name, address in links.items() if address]
        if there:
            response["Link"] = ", ".join(there)  # RFC 8288: a table has no other place for it
        return response
