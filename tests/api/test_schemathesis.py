"""The API against its own description: made-up requests, all checks.

Here 20 examples an operation, the same ones each time; others with BENCHQUORUM_SOAK, again and again for half
an hour in `make soak` (tests/soak/test_fuzzers.py).  Against a
server with high rates (`BENCHQUORUM_RATE_ACCOUNT`, `BENCHQUORUM_NEW_SHEETS=0`), from this folder, where the
settings are found:

    st run $REGISTRY/api/v1/schema/ --checks all --max-examples 200 --header "Authorization: Token …"
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

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
from tests.cases import case_tried

ROOT = Path(__file__).parents[2]
SOAK = float(os.environ.get("BENCHQUORUM_SOAK") or 0)
EXAMPLES = int(20 + 180 * SOAK)
CONFIG = schemathesis.config.SchemathesisConfig.from_path(ROOT / "schemathesis.toml")


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
    derandomize=not SOAK,
    suppress_health_check=list(hypothesis.HealthCheck),
)
def test_answers_are_as_described(
    case: schemathesis.Case, registry_with_a_chart: None, headers: dict[str, str]
) -> None:
    case_tried()
    case.call_and_validate(headers=headers)
