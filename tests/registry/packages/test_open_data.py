"""The nightly file: written once a night if something changed, downloaded whole, not sent twice."""

from __future__ import annotations

import zipfile
from datetime import timedelta
from io import BytesIO

import pytest
from django.utils import timezone

from registry.commands.main import main
from registry.services.open_data import open_data_due, open_data_file, open_data_write
from tests.registry.moderation.made import account, made_design, made_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def folder(tmp_path, settings):
    settings.DATA_DIR = tmp_path
    settings.TASKS_QUEUE = "immediate"


def test_page_says_when_there_is_no_file_yet(client):
    assert b"written at night" in client.get("/open-data/").content
    assert client.get("/open-data/benchquorum-data.zip").status_code == 404


def test_clock_writes_it_and_the_address_serves_it(client):
    person = account("reader")
    made_sheet(person, made_design(person))
    assert main(["due", "--quiet"]) == 0
    there = open_data_file()
    assert there is not None
    answer = client.get("/open-data/benchquorum-data.zip")
    content = b"".join(answer.streaming_content)
    assert "data/readings.csv" in zipfile.ZipFile(BytesIO(content)).namelist()
    again = client.get("/open-data/benchquorum-data.zip", headers={"if-none-match": answer["ETag"]})
    assert again.status_code == 304
    assert there.digest.encode() in client.get("/open-data/").content


def test_it_is_written_again_only_the_next_night_and_only_if_something_changed():
    person = account("reader")
    design = made_design(person)
    first = open_data_write()
    tomorrow = timezone.now() + timedelta(days=1)
    assert not open_data_due(now=tomorrow)
    made_sheet(person, design)
    assert not open_data_due()
    assert open_data_due(now=tomorrow)
    assert open_data_write(now=tomorrow).digest != first.digest
