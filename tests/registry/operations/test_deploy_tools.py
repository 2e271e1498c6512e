"""What is to read the files of `deploy/` understands them: systemd and HAProxy."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.machine import in_ci

DEPLOY = Path(__file__).parents[3] / "deploy"
UNITS = sorted((DEPLOY / "systemd").iterdir())


@pytest.mark.skipif(shutil.which("haproxy") is None and not in_ci(), reason="no HAProxy here")
def test_haproxy_understands_its_settings(tmp_path: Path) -> None:
    """With a certificate of its own, and as whoever runs the test."""
    pem = tmp_path / "registry.pem"
    key, certificate = tmp_path / "key", tmp_path / "certificate"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
         "-subj", "/CN=registry.example", "-keyout", key, "-out", certificate],
        capture_output=True, check=True,
    )  # fmt: skip
    pem.write_bytes(key.read_bytes() + certificate.read_bytes())
    text = (DEPLOY / "haproxy.cfg").read_text()
    assert "\n  user haproxy\n" in text  # a package's own unit starts it as root
    settings = tmp_path / "haproxy.cfg"
    settings.write_text(text.replace("/etc/haproxy/registry.pem", str(pem)))
    done = subprocess.run(["haproxy", "-c", "-f", settings], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_systemd_understands_the_units(tmp_path: Path) -> None:
    for path in UNITS:
        text = path.read_text().replace("/opt/benchquorum/.venv/bin/benchquorum", "/bin/true")
        (tmp_path / path.name).write_text(text)
    names = [str(tmp_path / path.name.replace("@", "@8000")) for path in UNITS]
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *names], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
@pytest.mark.parametrize("path", [one for one in UNITS if one.suffix == ".service"], ids=lambda one: one.name)
def test_systemd_finds_little_that_a_unit_lies_open_to(path: Path, tmp_path: Path) -> None:
    unit = tmp_path / path.name.replace("@", "@8000")
    unit.write_text(path.read_text())
    judged = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", "--threshold=35", unit],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert judged.returncode == 0, judged.stdout.splitlines()[-1:]  # of 100
