"""The files of `deploy/` name what is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from registry.commands.main import COMMANDS

ROOT = Path(__file__).parents[3]
DEPLOY = ROOT / "deploy"
FILES = sorted(path for path in DEPLOY.rglob("*") if path.is_file() and path.suffix != ".pyc")
SETTINGS = (ROOT / "registry" / "settings.py").read_text() + (ROOT / "registry/commands/serve.py").read_text()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_command_and_setting_is_real(path: Path) -> None:
    text = path.read_text()
    called = re.findall(r"(?:bin/|`|^ *|\"|&& )benchquorum ([a-z]+)\b", text, re.MULTILINE)
    assert set(called) <= set(COMMANDS), set(called) - set(COMMANDS)
    assert {
        name for name in re.findall(r"BENCHQUORUM_[A-Z]+(?:_[A-Z]+)*", text) if name not in SETTINGS
    } == set()


def test_units_are_there_for_server_worker_and_every_job() -> None:
    names = {path.name for path in (DEPLOY / "systemd").iterdir()}
    jobs = {
        f"benchquorum-{job}.{kind}" for job in ("due", "snapshot", "backup") for kind in ("service", "timer")
    }
    assert names == jobs | {"benchquorum-web.service", "benchquorum-worker@.service"}


def test_no_secret_stands_in_a_file() -> None:
    compose = (DEPLOY / "compose.yaml").read_text()
    for name in re.findall(r"(\w*(?:PASSWORD|KEY|TOKEN))\s*:", compose):
        assert re.search(rf"{name}: \$\{{{name}:\?", compose), name
