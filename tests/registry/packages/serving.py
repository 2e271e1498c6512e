"""A registry that runs as a server in processes of its own."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.registry.packages.made import ROOT, Instance


@contextmanager
def served(instance: Instance) -> Iterator[str]:
    """The address at which it answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "registry.commands.main", "serve", "--port", str(port), "--workers", "1"],
        cwd=ROOT,
        env=instance.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    url = f"http://127.0.0.1:{port}/"
    try:
        _wait(url, process)
        yield url
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait(20)


def _wait(url: str, process: subprocess.Popen[bytes]) -> None:
    for _attempt in range(300):
        assert process.poll() is None, "the server ended"
        try:
            with urllib.request.urlopen(url + "health/ready", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the server does not answer")


def published(instance: Instance, folder: Path) -> dict[str, bytes]:
    """All that it publishes, by file; without what it says of itself."""
    instance.run("export", "--package", folder)
    own = ("datapackage.json", "README.md", "settings.csv")
    return {
        str(file.relative_to(folder)): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and file.name not in own
    }
