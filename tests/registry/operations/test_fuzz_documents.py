"""Documents that were whole once: bodies of services, tables, packages, links, spoilt in a few places.

Bounded here; BENCHQUORUM_SOAK lets each run for minutes.
"""

from __future__ import annotations

import copy
import hashlib
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from registry.formats.life_table import read_life
from registry.formats.offline_file import read_offline_file, warnings_of
from registry.formats.package_files import DESCRIPTOR
from registry.formats.package_part import Part
from registry.models import Design, User
from registry.services.fleet.organisations import organisation_make
from registry.services.fleet.table import vehicles_look
from registry.services.offline_export import export_offline
from registry.services.packages.loading import package_load
from registry.services.packages.writing import export_package
from tests.api.made import made_design
from tests.registry.operations.fuzzing import damaged, figures, fuzz, spoilt, survives, texts
from tests.registry.operations.whole_bodies import bodies
from tests.registry.packages.conftest import at_once as at_once
from tests.registry.packages.made import made_registry

pytestmark = pytest.mark.django_db

Row = dict[str, Any]


@pytest.fixture
def design(reader: User, settings: Any) -> Design:
    settings.BENCHQUORUM_NEW_SHEETS = settings.BENCHQUORUM_GUEST_JOBS = 0
    return made_design(reader)


def tried(act: Callable[[], Any]) -> None:
    """In a transaction of its own that is taken back: the next one finds all as it was."""
    with transaction.atomic():
        survives(lambda: _nested(act))
        transaction.set_rollback(True)


def _nested(act: Callable[[], Any]) -> Any:
    with transaction.atomic():
        return act()


@fuzz
@given(st.data())
def test_a_body_of_a_service(reader: User, design: Design, data: st.DataObject) -> None:
    with transaction.atomic():
        found = bodies(reader, design)
        act, whole = found[data.draw(st.sampled_from(sorted(found)))]
        body = spoilt(data, copy.deepcopy(whole))
        tried(lambda: act(body))
        transaction.set_rollback(True)


def table_text(data: st.DataObject, heads: list[str], comma: str) -> bytes:
    """A table whose heads are known and whose cells may be anything."""
    cell = st.one_of(
        figures.map(str),
        texts,
        st.sampled_from(["", "7", "original", "2026-11-02", "84,5", "Sweeper selector"]),
    )
    rows = data.draw(st.lists(st.lists(cell, min_size=len(heads) - 1, max_size=len(heads) + 1), max_size=5))
    text = "\n".join([comma.join(heads), *(comma.join(row) for row in rows)])
    return text.encode("utf-8", "surrogatepass")


@fuzz
@given(st.data(), st.sampled_from([",", ";", "\t"]))
def test_units_over_time(data: st.DataObject, comma: str) -> None:
    heads = ["design", "unit", "class", "entered_km", "good_km", "failed_km"]
    survives(lambda: read_life(table_text(data, heads, comma)))


@fuzz
@given(st.data(), st.sampled_from([",", ";", "\t"]))
def test_a_table_of_vehicles(reader: User, design: Design, data: st.DataObject, comma: str) -> None:
    heads = ["label", "gearbox", "design", "km", "read on", "fitted at", "fitted_on", "unit_km"]
    with transaction.atomic():
        fleet = organisation_make(by=reader, body={"name": "Marsh Quay"})
        content = table_text(data, heads, comma)
        tried(lambda: vehicles_look(by=reader, organisation=fleet, data=content))
        transaction.set_rollback(True)


@pytest.fixture
def package(tmp_path: Path, settings: Any) -> dict[str, bytes]:
    """The members of a package with every kind of trouble; the registry that it came from is gone again."""
    settings.BENCHQUORUM_NEW_SHEETS = 0
    with transaction.atomic():
        made_registry()
        export_package(tmp_path / "whole.zip")
        transaction.set_rollback(True)
    with zipfile.ZipFile(tmp_path / "whole.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def spoilt_member(data: st.DataObject, name: str, content: bytes) -> bytes:
    """Lines dropped, given twice, cut into cells of other kinds: still text with the same head."""
    lines = content.decode().splitlines(keepends=True)
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        act = data.draw(st.sampled_from(["cell", "cell", "cell", "drop", "twice"]))
        if act == "twice":
            lines.insert(at, lines[at])
        elif act == "drop" and len(lines) > 1:
            del lines[at]
        else:
            cells = lines[at].split(",")
            cells[data.draw(st.integers(0, len(cells) - 1))] = data.draw(
                st.sampled_from(
                    [
                        "",
                        "x",
                        "-1",
                        "1e400",
                        "NaN",
                        "{}",
                        "[]",
                        "[1]",
                        "true",
                        "2026-02-30",
                        "\x00",
                        "é" * 300,
                    ]
                )
            )
            lines[at] = ",".join(cells) if name.endswith(".csv") else json.dumps(cells[0])
    return "".join(lines).encode()


@fuzz
@given(st.data())
def test_a_package_whose_digests_are_right(
    package: dict[str, bytes], tmp_path: Path, data: st.DataObject
) -> None:
    path = tmp_path / "spoilt.zip"
    name = data.draw(st.sampled_from(sorted(set(package) - {DESCRIPTOR, "README.md"})))
    members = {**package, name: spoilt_member(data, name, package[name])}
    descriptor = json.loads(package[DESCRIPTOR])
    for entry in descriptor["resources"]:
        entry["bytes"] = len(members[entry["path"]])
        entry["hash"] = "sha256:" + hashlib.sha256(members[entry["path"]]).hexdigest()
    if data.draw(st.booleans()) and name == "designs.csv":
        descriptor = spoilt(data, descriptor)
    members[DESCRIPTOR] = json.dumps(descriptor).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for member, content in members.items():
            archive.writestr(member, content)
    tried(lambda: package_load(path))


@fuzz
@given(st.data())
def test_a_damaged_package(package: dict[str, bytes], tmp_path: Path, data: st.DataObject) -> None:
    path = tmp_path / "damaged.zip"
    path.write_bytes(damaged(data, (tmp_path / "whole.zip").read_bytes()))
    tried(lambda: package_load(path))


def read_part(content: bytes) -> None:
    part = Part(content)
    for name in ("designs", "sheets", "readings", "decisions"):
        list(part.rows(name))
    list(part.lines("charts"))


@fuzz
@given(st.data())
def test_a_part_of_another_registry(data: st.DataObject) -> None:
    whole: Row = {
        "format": "benchquorum/part/1",
        "origin": "elsewhere",
        "design": "x",
        "tables": {name: [["x", 1, None]] for name in ("designs", "sheets", "readings", "decisions")},
        "lines": {"charts": ["{}"]},
    }
    content = json.dumps(spoilt(data, whole)).encode("utf-8", "surrogatepass")
    survives(lambda: read_part(damaged(data, content) if data.draw(st.booleans()) else content))


@fuzz
@given(st.data())
def test_a_damaged_file_of_charts(offline: bytes, tmp_path: Path, data: st.DataObject) -> None:
    path = tmp_path / "damaged.sqlite"
    path.write_bytes(damaged(data, offline))
    survives(lambda: warnings_of(*read_offline_file(path)))


@pytest.fixture
def offline(tmp_path: Path, settings: Any) -> Iterator[bytes]:
    settings.BENCHQUORUM_NEW_SHEETS = 0
    with transaction.atomic():
        made_registry()
        export_offline(tmp_path / "whole.sqlite")
        transaction.set_rollback(True)
    yield (tmp_path / "whole.sqlite").read_bytes()


LINKS = (
    "/jobs/link/{}/",
    "/shared/{}/",
    "/invitations/{}/",
    "/fleet/join/{}/",
    "/fleet/calendar/{}.ics",
    "/notices/stop/{}/",
)


@fuzz
@given(
    st.sampled_from(LINKS), st.text(alphabet=st.characters(exclude_characters="/?#"), min_size=1, max_size=60)
)
def test_a_link_that_somebody_made_up(client: Client, reader: User, link: str, text: str) -> None:
    """A token is looked up by its digest, whatever is in it: the page says that it opens nothing."""
    from urllib.parse import quote

    client.force_login(reader)
    address = link.format(quote(text.encode("utf-8", "surrogatepass")))
    for answer in (client.get(address), client.post(address)):
        assert answer.status_code < 500, address
