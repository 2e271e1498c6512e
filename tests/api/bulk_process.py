"""A process that sends one bulk call to the whole server, to be killed: `python -m tests.api.bulk_process`.

It prints a line when the call begins and the answer when it ends.  Its database is in BENCHQUORUM_DATA.
"""

from __future__ import annotations

import io
import json
import os
import sys

SHEETS = 300


def main(token: str, design: str, key: str) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.settings")
    import django

    django.setup()
    from django.core.handlers.wsgi import WSGIHandler

    server, body = WSGIHandler(), json.dumps({"submissions": bodies(design)}).encode()
    ask(server, "GET", "/api/v1/charts/", token, b"")  # all is loaded
    print("begins", flush=True)
    print(ask(server, "POST", "/api/v1/submissions/bulk/", token, body, key).decode(), flush=True)


def bodies(design: str) -> list[dict[str, object]]:
    return [
        {
            "client_id": f"00000000-0000-4000-8000-{n:012d}",
            "design": design,
            "unit": {"key": f"u{n}"},
            "measured_it_myself": True,
            "readings": [
                {"position": position, "pin": pin, "against": "1", "reading": "0.4" if pin == own else "OL"}
                for position, own in zip("PRND", "2345", strict=True)
                for pin in "2345"
            ],
        }
        for n in range(SHEETS)
    ]


def ask(server: object, method: str, address: str, token: str, body: bytes, key: str = "") -> bytes:
    """The answer's body; AssertionError for any other status than 200."""
    surroundings = {
        "REQUEST_METHOD": method,
        "PATH_INFO": address,
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "HTTP_HOST": "localhost",
        "HTTP_AUTHORIZATION": token,
        "REMOTE_ADDR": "127.0.0.1",
        "CONTENT_TYPE": "application/json",
        "CONTENT_LENGTH": str(len(body)),
        "wsgi.url_scheme": "http",
        "wsgi.input": io.BytesIO(body),
        **({"HTTP_IDEMPOTENCY_KEY": key} if key else {}),
    }
    status: list[str] = []
    response = server(surroundings, lambda line, headers: status.append(line))  # type: ignore[operator]
    content = b"".join(response)
    response.close()
    assert status[0].startswith("200"), (status, content[:300])
    return content


if __name__ == "__main__":
    main(*sys.argv[1:])
