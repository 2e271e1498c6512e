"""The README's commands run as they stand; JSON examples pass their schema and are accepted."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from api.description import bodies, sheets
from registry.formats.documents import schema
from registry.models import User
from registry.services.catalogue import design_propose
from tests.docs.documents import ROOT, blocks

COMMAND = Path(sys.executable).with_name("benchquorum")
SHELL = [block for block in blocks("README.md", "sh") if block.lstrip().startswith("benchquorum")]


def run_all(block: str, folder: Path) -> list[str]:
    """What each line of the block printed; the first that fails ends it."""
    shutil.copytree(ROOT / "fixtures_demo", folder / "fixtures_demo")
    path = f"{COMMAND.parent}{os.pathsep}{os.environ['PATH']}"
    unset = {"DATABASE_URL": "", "BENCHQUORUM_DATA": str(folder / "data")}
    printed = []
    for line in filter(None, block.splitlines()):
        done = subprocess.run(
            line,
            shell=True,
            cwd=folder,
            env={**os.environ, **unset, "PATH": path},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{line}\n{done.stderr}"
        printed.append(done.stdout)
    return printed


def test_files_need_no_database(tmp_path: Path) -> None:
    printed = run_all(SHELL[0], tmp_path)
    assert "Quillbrack QB-6" in printed[0]
    for name in ("agreed", "check", "life"):
        document = json.loads((tmp_path / f"{name}.json").read_text())
        jsonschema.validate(document, schema(name))
    assert not (tmp_path / "data").exists()


def test_commands_of_the_registry(tmp_path: Path) -> None:
    printed = run_all(SHELL[1], tmp_path)
    assert "Would add 146 sheets" in printed[1] and "Added 146 sheets" in printed[2]
    assert "0 differ" in printed[-1]
    assert (tmp_path / "everything.csv").read_text().count("\n") > 4000


def test_both_blocks_of_commands_are_there() -> None:
    assert len(SHELL) == 2


@pytest.mark.parametrize("kind", ["sheet", "design"])
def test_bodies_of_the_guide_pass_their_schema(kind: str) -> None:
    (example,) = blocks("DEVELOPERS.md", f"json {kind}")
    schemas = {"sheet": sheets.SHEET, "design": bodies.DESIGN}
    jsonschema.validate(json.loads(example), schemas[kind])


@pytest.mark.django_db
def test_the_design_of_the_guide_is_accepted() -> None:
    (example,) = blocks("DEVELOPERS.md", "json design")
    design = design_propose(by=User.objects.create_user("guide@workshop.example"), body=json.loads(example))
    assert [position.label for position in design.positions.all()] == ["P", "R", "N"]
