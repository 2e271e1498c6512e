"""A key is made for a copy that this machine alone reaches; whoever opens a registry gives one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from registry import secret_key as module

ROOT = Path(__file__).parents[3]


def key_of(folder: Path, **given: str) -> subprocess.CompletedProcess[str]:
    environment = {"PATH": os.environ["PATH"], "BENCHQUORUM_DATA": str(folder), **given}
    ask = "from registry import settings; print(settings.SECRET_KEY)"
    return subprocess.run(
        [sys.executable, "-c", ask], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )


def test_a_copy_for_this_machine_makes_one_and_keeps_it(tmp_path: Path) -> None:
    first, again = key_of(tmp_path), key_of(tmp_path)
    assert first.returncode == 0, first.stderr
    assert first.stdout == again.stdout and len(first.stdout) > 50
    assert (tmp_path / "secret_key").stat().st_mode & 0o777 == 0o600


def test_a_demo_makes_one_under_whatever_name(tmp_path: Path) -> None:
    asked = key_of(tmp_path, BENCHQUORUM_DEBUG="1", BENCHQUORUM_HOSTS="bench.local")
    assert asked.returncode == 0, asked.stderr


@pytest.mark.parametrize(
    "opened", [{"BENCHQUORUM_TLS": "true"}, {"BENCHQUORUM_HOSTS": "localhost,registry.example"}]
)
def test_a_registry_that_others_reach_does_not_start_without(tmp_path: Path, opened: dict[str, str]) -> None:
    refused = key_of(tmp_path, **opened)
    assert refused.returncode and "needs BENCHQUORUM_SECRET_KEY" in refused.stderr
    assert not (tmp_path / "secret_key").exists()
    assert key_of(tmp_path, BENCHQUORUM_SECRET_KEY="of a test", **opened).stdout == "of a test\n"


def test_the_key_of_before_is_named(tmp_path: Path) -> None:
    """So that opening a copy to others costs nobody their session."""
    key_of(tmp_path)
    assert f"The one in {tmp_path / 'secret_key'} goes on" in key_of(tmp_path, BENCHQUORUM_TLS="1").stderr


def test_of_two_that_start_at_once_both_take_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other one has made its key when this one has just seen that there is none."""

    def other_was_faster(_bytes: int) -> str:
        (tmp_path / "secret_key").write_text("of the other")
        return "mine"

    monkeypatch.delenv("BENCHQUORUM_SECRET_KEY", raising=False)
    monkeypatch.setattr(module.secrets, "token_urlsafe", other_was_faster)
    assert module.secret_key(tmp_path, needed=False) == "of the other"
    assert [path.name for path in tmp_path.iterdir()] == ["secret_key"]
