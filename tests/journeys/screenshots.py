"""`python -m tests.journeys.screenshots`: every page at both widths, light and dark, into screenshots/.

A demo of its own is loaded into a temporary folder and served on a free port; nothing of yours is touched.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.machine import chromium_path

OUT = Path("screenshots")
SIZES = ((390, 844), (1280, 800))
SCHEMES = ("light", "dark")


def main() -> int:
    if chromium_path() is None:
        print("There is no chromium on this machine: `apt-get install chromium` brings it.", file=sys.stderr)
        return 1
    folder = tempfile.mkdtemp(prefix="benchquorum-screenshots-")
    os.environ |= {
        "BENCHQUORUM_DATA": folder,
        "BENCHQUORUM_DEBUG": "1",
        "DJANGO_SETTINGS_MODULE": "registry.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "true",
    }
    try:
        subprocess.run([sys.executable, "-m", "registry.commands.main", "demo", "--no-serve"], check=True)
        with serving() as address:
            taken = take_all(address)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print(f"{taken} pictures in {OUT}/")
    return 0


@contextmanager
def serving() -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = subprocess.Popen(
        [sys.executable, "manage.py", "runserver", "--noreload", str(port)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(100):
            try:
                urllib.request.urlopen(f"{address}/health/live")
                break
            except OSError:
                time.sleep(0.2)
        yield address
    finally:
        server.terminate()
        server.wait()


def take_all(address: str) -> int:
    import django

    django.setup()
    import json

    from django.conf import settings
    from playwright.sync_api import sync_playwright

    from tests.journeys.pages import all_pages

    people = json.loads((settings.BASE_DIR / "fixtures_demo" / "people.json").read_text())
    emails = {account["role"]: account["email"] for account in people["accounts"]}
    pages = all_pages()
    OUT.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
        states = {}
        for who in sorted({page.who for page in pages} - {"guest"}):
            context = browser.new_context()
            tab = context.new_page()
            tab.goto(f"{address}/account/login/")
            tab.fill("[name=login]", emails[who])
            tab.fill("[name=password]", people["password"])
            tab.click("main form button.main-button")
            tab.wait_for_url(f"{address}/")
            states[who] = context.storage_state()
            context.close()
        for width, height in SIZES:
            for scheme in SCHEMES:
                for page in pages:
                    context = browser.new_context(
                        viewport={"width": width, "height": height},
                        color_scheme=scheme,
                        storage_state=states.get(page.who),
                    )
                    tab = context.new_page()
                    tab.goto(address + page.path, wait_until="networkidle")
                    tab.screenshot(path=OUT / f"{page.name}-{width}-{scheme}.png", full_page=True)
                    context.close()
        browser.close()
    return len(pages) * len(SIZES) * len(SCHEMES)


if __name__ == "__main__":
    sys.exit(main())
