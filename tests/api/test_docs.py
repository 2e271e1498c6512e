"""api/README.md: every command in it works, and no address is left out."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from api.views.description import description
from registry.models import Design
from registry.services.charts import chart_refresh
from registry.services.sheets import sheet_submit
from tests.api.made import made_design, made_token, made_user, sheet_body

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "api" / "README.md").read_text()
BLOCKS = re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
CSV = """design,submission,unit,contributor,step,position,pin,against,reading
Sweeper selector,doc-1,9,me,1,P,2,1,0.4
Sweeper selector,doc-1,9,me,1,P,3,1,OL
Sweeper selector,doc-1,9,me,2,R,3,1,0.5
"""


def test_every_address_has_its_words() -> None:
    lacking = [path for path in json.loads(description()[0])["paths"] if f"`{path}`" not in TEXT]
    assert not lacking


def test_what_is_named_is_there() -> None:
    paths = set(json.loads(description()[0])["paths"]) | {"/api/v1/docs/"}
    assert set(re.findall(r"`(/api/v1/[^`]*)`", TEXT)) <= paths


@pytest.fixture
def charted(transactional_db: None) -> tuple[Design, str]:
    user = made_user("docs")
    design = made_design(user)
    for n, name in enumerate("abc"):
        sheet_submit(by=made_user(name), body=sheet_body(design, unit={"key": str(n)}))
        chart_refresh(design_id=design.pk)
    return design, made_token(user).removeprefix("Token ")


@pytest.mark.skipif(shutil.which("curl") is None, reason="no curl on this machine")
def test_every_command_works(charted: tuple[Design, str], live_server: Any, tmp_path: Path) -> None:
    design, token = charted
    (tmp_path / "readings.csv").write_text(CSV)
    surroundings = {
        **os.environ,
        "REGISTRY": live_server.url,
        "TOKEN": token,
        "DESIGN": str(design.uuid),
        "PYTHONPATH": str(ROOT),
        "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
    }
    script = ["set -eu"]
    expected: list[str] = []
    for line in "\n".join(BLOCKS).splitlines():
        if line.startswith("# → "):
            expected.append(line.removeprefix("# → "))
            script.append("echo; echo ==========")
        else:
            script.append(line)
    done = subprocess.run(
        ["bash", "-c", "\n".join(script)],
        env=surroundings,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
    )
    answers = done.stdout.split("==========\n")
    assert done.returncode == 0, done.stderr + done.stdout[-2000:]
    assert len(expected) >= 15 and len(answers) == len(expected) + 1
    for wanted, answer in zip(expected, answers, strict=False):
        assert wanted in answer, answer
