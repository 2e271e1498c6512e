"""One file of all charts: the same verdicts as the registry's, and warnings where a chart may not hold."""

from __future__ import annotations

import json
import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from registry.commands.main import main
from registry.errors import RegistryErrors
from registry.formats.offline_file import read_offline_file, warnings_of
from registry.models import ChartRevision, CurrentChart, Design
from registry.services.checks import check_suspect
from registry.services.offline_export import export_offline
from tests.registry.moderation.made import account, made_design, made_sheet, pattern, readers

pytestmark = pytest.mark.django_db
HEADER = "design,submission,unit,contributor,step,position,pin,against,reading,held_good"


@pytest.fixture
def design() -> Design:
    people = readers(5)
    design = made_design(people[0])
    for person in people:
        made_sheet(person, design)
    return design


def suspect(folder: Path, design: Design, **changed: str) -> tuple[Path, list[dict[str, str]]]:
    """A sheet on which pin 3 never closes."""
    steps = {position.label: position.step for position in design.positions.all()}
    rows = [
        {"position": position, "pin": pin, "against": "1", "reading": "OL" if pin == "3" else reading}
        for (position, pin), reading in pattern().items()
    ]
    path = folder / "suspect.csv"
    lines = [
        f"{design.name},s1,u1,me,{steps[row['position']]},{row['position']},{row['pin']},1,{row['reading']},no"
        for row in rows
    ]
    path.write_text("\n".join([HEADER, *lines, ""]))
    return path, rows


def test_check_against_the_file_is_the_registrys_check(design, tmp_path, capsys) -> None:
    file = tmp_path / "charts.sqlite"
    assert main(["export", "--offline", str(file)]) == 0
    capsys.readouterr()
    readings, rows = suspect(tmp_path, design)
    assert main(["check", str(readings), "--against", str(file), "--json"]) == 0
    out, err = capsys.readouterr()
    here = json.loads(out)["checks"][0]
    there = check_suspect(body={"design": str(design.uuid), "readings": rows, "read_at": "bench"})
    for name in ("verdict", "p_good", "reason", "unlike", "next"):
        assert here[name] == there[name]
    revision = CurrentChart.objects.get(design=design).revision
    assert f"revision {revision.number} of {revision.published_at:%Y-%m-%d}" in err
    assert main(["identify", str(readings), "--against", str(file), "--json"]) == 0


def test_file_is_open_to_anybodys_queries(design, tmp_path) -> None:
    file = tmp_path / "charts.sqlite"
    assert export_offline(file) == 1
    with sqlite3.connect(file) as opened:
        query = "SELECT state FROM cells JOIN part_numbers USING (design) WHERE key = ? AND position = ?"
        query += " AND pin = ?"
        assert opened.execute(query, ["odferryselector12", "R", "3"]).fetchone() == ("closed",)


def test_withdrawn_chart_is_refused_with_its_reason(design, tmp_path, capsys) -> None:
    file = tmp_path / "charts.sqlite"
    ChartRevision.objects.filter(design=design, state="published").update(
        state="withdrawn",
        withdrawn_at=timezone.now(),
        withdrawn_reason="drawn from the wrong side.",
    )
    export_offline(file)
    readings, _rows = suspect(tmp_path, design)
    assert main(["check", str(readings), "--against", str(file)]) == 2
    assert "drawn from the wrong side" in capsys.readouterr().err


def test_old_file_and_changed_evidence_are_said(design, tmp_path) -> None:
    file = tmp_path / "charts.sqlite"
    Design.objects.filter(pk=design.pk).update(stale=True)
    export_offline(file)
    about, charts = read_offline_file(file)
    assert "newer revision was on its way" in warnings_of(about, charts)[0]
    assert len(warnings_of(about, charts)) == 1
    later = (timezone.now() + timedelta(days=40)).date()
    assert "40 days old" in warnings_of(about, charts, later)[1]


def test_damaged_file_is_refused(design, tmp_path, capsys) -> None:
    file = tmp_path / "charts.sqlite"
    export_offline(file)
    with sqlite3.connect(file) as opened:
        opened.execute("UPDATE charts SET content = replace(content, 'closed', 'open')")
    with pytest.raises(RegistryErrors, match="digest"):
        read_offline_file(file)
    other = tmp_path / "other.sqlite"
    with sqlite3.connect(other) as opened:
        opened.execute("CREATE TABLE anything (a)")
    readings, _rows = suspect(tmp_path, design)
    assert main(["check", str(readings), "--against", str(other)]) == 2
    assert "export --offline" in capsys.readouterr().err
    assert account("somebody")
