"""How a delivery is signed: HMAC-SHA256 over its id, the time of sending and the body (Standard Webhooks).

The receiver makes the same with its own secret, compares in constant time, and refuses an old timestamp.
https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md
"""

from __future__ import annotations

import base64
import hashlib
import hmac

PREFIX = "whsec_"


def secret_text(key: bytes) -> str:
    """The secret as it is shown."""
    return PREFIX + base64.b64encode(key).decode()


def signature(key: bytes, delivery: str, timestamp: int, body: bytes) -> str:
    """The value of `Webhook-Signature`.

    The example of the specification's reference libraries:

    >>> import base64
    >>> key = base64.b64decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    >>> signature(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    'v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE='
    """
    signed = f"{delivery}.{timestamp}.".encode() + body
    made = hmac.new(key, signed, hashlib.sha256).digest()
    return "v1," + base64.b64encode(made).decode()
