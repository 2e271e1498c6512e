"""The API against its own description: made-up requests, all checks.

Here 20 examples an operation, the same ones each time.  For longer, against a server with high rates and a
token of a moderator, the settings below in a file:

    st --config-file st.toml run $REGISTRY/api/v1/schema/ --header "Authorization: Token …" --checks all
"""

from __future__ import annotations

from collections.abc import Iterator

import hypothesis
import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections

from api.description.examples import DESIGN_ID, SHEET_ID
from registry.models import Design, Sheet, User
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_token, made_user, sheet_body

EXAMPLES = 20
CONFIG = schemathesis.config.SchemathesisConfig.from_str(
    """
[checks]
positive_data_acceptance.expected-statuses = ["2xx", "304", "401", "403", "404", "410"]
negative_data_rejection.expected-statuses = [
  "400", "401", "403", "404", "405", "406", "409", "410", "412", "413", "415", "422", "428", "429",
]

# A body may fit the description and still be wrong: a design that nobody knows, a place that is named twice.
[[operations]]
include-method = ["POST", "PUT", "PATCH", "DELETE"]
checks.positive_data_acceptance.expected-statuses = [
  "2xx", "400", "401", "403", "404", "409", "410", "412", "422", "428",
]
"""
)


@pytest.fixture
def headers() -> dict[str, str]:
    user = User.objects.get(email="reader@workshop.example")
    return {"Authorization": made_token(user), "Accept-Encoding": "identity"}


@pytest.fixture
def registry_with_a_chart(reader: User) -> Iterator[None]:
    """A registry with one design, its chart and a sheet under the examples' ids."""
    design = made_design(reader)
    Design.objects.filter(pk=design.pk).update(uuid=DESIGN_ID)
    design.refresh_from_db()
    for n, name in enumerate(("b", "c", "d")):
        sheet_submit(by=made_user(name), body=sheet_body(design, unit={"key": str(n)}))
    sheet = sheet_submit(by=reader, body=sheet_body(design))
    Sheet.objects.filter(pk=sheet.pk).update(uuid=SHEET_ID)
    chart_refresh(design_id=design.pk)
    # As Django's own test client does: the connection, with its open transaction, outlives a request.
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


schema = schemathesis.openapi.from_wsgi("/api/v1/schema/", get_wsgi_application(), config=CONFIG)


@schema.parametrize()
@hypothesis.settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(hypothesis.HealthCheck),
)
def test_answers_are_as_described(
    case: schemathesis.Case, registry_with_a_chart: None, headers: dict[str, str]
) -> None:
    case.call_and_validate(headers=headers)
