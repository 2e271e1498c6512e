"""What a receiver of webhooks needs: is this from the registry, and is it fresh?"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import time
from collections.abc import Mapping
from typing import Any

TOLERANCE = 300  # seconds that the clocks may differ, and a delivery may be old


def read_delivery(secret: str, headers: Mapping[str, str], body: bytes, *, now: float | None = None) -> Any:
    """The document of a delivery; ValueError unless it was signed with the secret, and lately.

    Keep its `Webhook-Id`: a delivery whose answer got lost comes again with the same one.
    """
    named = {name.lower(): value for name, value in headers.items()}
    delivery, sent = named.get("webhook-id", ""), named.get("webhook-timestamp", "")
    if not sent.isdigit() or abs((time.time() if now is None else now) - int(sent)) > TOLERANCE:
        raise ValueError("The delivery is too old, or has no time.")
    key = base64.b64decode(secret.removeprefix("whsec_"))
    made = hmac.new(key, f"{delivery}.{sent}.".encode() + body, hashlib.sha256).digest()
    wanted = "v1," + base64.b64encode(made).decode()
    if not any(hmac.compare_digest(wanted, given) for given in named.get("webhook-signature", "").split()):
        raise ValueError("The signature is not the registry's.")
    return json.loads(body)
